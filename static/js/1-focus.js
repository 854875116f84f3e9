// A page that comes back with errors: the summary takes the focus.
document.querySelector("[data-focus]")?.focus();
