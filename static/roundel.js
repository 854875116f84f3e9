// Small conveniences. Every page works without this file; the server decides and counts everything itself.
// Text only: nothing here parses HTML, so that Trusted Types has nothing to refuse.

// 1. A page that comes back with errors: the summary takes the focus.
document.querySelector("[data-focus]")?.focus();

// 2. Guard against a second press of a button that changes something. Freed after a while, for answers that are downloads.
const free = (form) => {
  delete form.dataset.sent;
  for (const button of form.querySelectorAll("[data-once]")) button.removeAttribute("aria-disabled");
};
document.addEventListener("submit", (event) => {
  const form = event.target;
  if (event.defaultPrevented || form.method !== "post") return;
  if (form.dataset.sent) {
    event.preventDefault();
    return;
  }
  form.dataset.sent = "yes";
  for (const button of form.querySelectorAll("[data-once]")) button.setAttribute("aria-disabled", "true");
  setTimeout(free, 8000, form);
});
addEventListener("pageshow", (event) => {
  if (event.persisted) document.querySelectorAll("form[data-sent]").forEach(free);
});

// 3. The skin score while it is being chosen. A domain counts once area and severity are both known (area 0 needs no severity).
for (const sheet of document.querySelectorAll("[data-score]")) {
  const total = sheet.querySelector("[data-total]");
  const count = () => {
    let sum = 0;
    let whole = true;
    for (const domain of sheet.querySelectorAll("[data-domain]")) {
      const chosen = (part) => domain.querySelector(`[data-part="${part}"]:checked`)?.value;
      const area = chosen("area");
      const severity = area === "0" ? "0" : chosen("severity");
      const known = area !== undefined && severity !== undefined;
      const points = known ? Number(area) + Number(severity) : 0;
      domain.querySelector("[data-points]").textContent = known ? String(points) : "–";
      sum += points;
      whole &&= known;
    }
    if (total) total.textContent = whole ? `${sum} of 15` : sum > 0 ? `${sum} so far` : "–";
  };
  sheet.addEventListener("change", count);
  count();
}
