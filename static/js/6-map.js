// The clock map by mouse, touch and key: each list becomes a button that goes through its answers. The lists stay in the
// form and are what is sent; without this file they are what one uses.
for (const face of document.querySelectorAll("[data-map]")) {
  const lists = [...face.querySelectorAll("select")];
  const buttons = new Map();
  const at = (hour, ring) => lists.find((l) => l.dataset.hour === String(hour) && l.dataset.ring === String(ring));
  const say = (list) => buttons.get(list).setAttribute("aria-label", `${list.getAttribute("aria-label")}: ${list.selectedOptions[0].text}`);
  const set = (list, index) => {
    list.selectedIndex = index;
    say(list);
    list.dispatchEvent(new Event("change", { bubbles: true }));
  };
  for (const list of lists) {
    const button = document.createElement("button");
    button.type = "button";
    button.tabIndex = buttons.size ? -1 : 0;
    button.addEventListener("click", () => set(list, (list.selectedIndex + 1) % list.options.length));
    list.hidden = true;
    list.after(button);
    buttons.set(list, button);
    say(list);
  }
  const go = (list) => {
    if (!list) return;
    for (const button of buttons.values()) button.tabIndex = -1;
    const button = buttons.get(list);
    button.tabIndex = 0;
    button.focus();
  };
  face.addEventListener("focusin", (event) => {
    for (const button of buttons.values()) button.tabIndex = button === event.target ? 0 : -1;
  });
  face.addEventListener("keydown", (event) => {
    const list = lists.find((l) => buttons.get(l) === event.target);
    if (!list) return;
    const hour = Number(list.dataset.hour);
    const ring = Number(list.dataset.ring);
    const moves = {
      ArrowRight: () => go(at((hour % 12) + 1, ring)),
      ArrowLeft: () => go(at(((hour + 10) % 12) + 1, ring)),
      ArrowUp: () => go(at(hour, ring + 1)),
      ArrowDown: () => go(at(hour, ring - 1)),
      Delete: () => set(list, 0),
      Backspace: () => set(list, 0),
    };
    if (moves[event.key]) {
      event.preventDefault();
      moves[event.key]();
    }
  });
}
