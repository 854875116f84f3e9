// Two minutes before the screen locks: a countdown and "Stay signed in". The server says how long is left; another
// window may have been used meanwhile.
const bar = document.querySelector("[data-lock]");
if (bar) {
  const words = bar.querySelector("[data-lock-words]");
  const stay = bar.querySelector("button");
  let end;
  let timer;
  const until = (left) => {
    const text = left > 90 ? "2 minutes" : left > 60 ? "a minute and a half" : `${Math.max(Math.ceil(left / 15) * 15, 0)} seconds`;
    return `The screen locks in ${text}. What you typed in a long form is kept.`;
  };
  const tick = () => {
    clearTimeout(timer);
    const left = (end - Date.now()) / 1000;
    bar.hidden = left > 121;
    if (left > 121) {
      timer = setTimeout(ask, (left - 120) * 1000);
    } else if (left > 0) {
      if (words.textContent !== until(left)) words.textContent = until(left);
      timer = setTimeout(tick, 1000);
    } else {
      ask();
    }
  };
  const ask = async (how) => {
    clearTimeout(timer);
    try {
      const answer = await fetch("/session", { redirect: "manual", ...how });
      if (answer.ok) {
        const { left, more } = await answer.json();
        stay.hidden = !more;
        end = Date.now() + left * 1000;
        if (left > 0) return tick();
      }
      const kept = document.documentElement.dataset.kept;
      const next = encodeURIComponent(kept ?? location.pathname + location.search);
      location.assign(`/sign-in?ended=true${kept ? "&kept=true" : ""}&next=${next}`);
    } catch {
      timer = setTimeout(ask, 5000);
    }
  };
  stay.addEventListener("click", () => ask({ method: "POST", body: new URLSearchParams({ csrf: bar.dataset.csrf }) }));
  document.addEventListener("visibilitychange", () => document.hidden || ask());
  end = Date.now() + Number(bar.dataset.lock) * 1000;
  tick();
}
