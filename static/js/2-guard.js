// Guard against a second press of a button that changes something. Freed after a while, for answers that are downloads.
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
