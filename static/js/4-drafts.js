// What is typed into a long form is kept on the server every few seconds, and when the page goes out of sight. Nothing
// is kept in the browser: clinic machines are shared.
const EVERY = 5000;
for (const said of document.querySelectorAll("[data-draft-said]")) {
  const form = said.closest("form");
  const place = form.elements.draft_at;
  let timer;
  let dirty = false;
  let lost = false;
  const say = (text, failed) => {
    lost = failed;
    said.textContent = text;
    said.classList.toggle("failed", failed);
  };
  const again = () => {
    dirty = true;
    timer ??= setTimeout(save, EVERY);
  };
  const save = async () => {
    clearTimeout(timer);
    timer = undefined;
    if (!dirty) return;
    dirty = false;
    try {
      const body = new URLSearchParams(new FormData(form));
      const headers = { accept: "text/plain" };
      const signal = AbortSignal.timeout(8000);
      const answer = await fetch("/drafts", { method: "POST", body, headers, signal, keepalive: true, redirect: "manual" });
      if (answer.type === "opaqueredirect") {
        // The screen is locked: what was typed is kept, and one comes back to it.
        location.assign(`/sign-in?ended=true&kept=true&next=${encodeURIComponent(place.value)}`);
      } else if (answer.ok) {
        document.documentElement.dataset.kept = place.value;
        say(await answer.text(), false);
      } else if (answer.status < 500) {
        say("Not saved: sign in again in another window, then go on here", true);
        again();
      } else {
        throw answer;
      }
    } catch {
      say("Not saved: no connection, trying again", true);
      again();
    }
  };
  form.addEventListener("input", again);
  form.addEventListener("change", again);
  document.addEventListener("visibilitychange", () => document.hidden && save());
  addEventListener("online", save);
  addEventListener("beforeunload", (event) => lost && event.preventDefault());
  form.addEventListener("submit", (event) => {
    if (!navigator.onLine) {
      event.preventDefault();
      say("Not sent: no connection. What you typed stays here; send it when the connection is back", true);
      again();
      return;
    }
    clearTimeout(timer);
    dirty = lost = false;
  });
}
