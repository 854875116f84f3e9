// How a typed date is read, with its weekday, under its box. The server reads it: there is one reader.
for (const box of document.querySelectorAll("input.date")) {
  let echo;
  let timer;
  const read = async () => {
    const text = box.value.trim();
    if (!text && !echo) return;
    if (!echo) {
      echo = document.createElement("span");
      echo.className = "echo";
      echo.setAttribute("role", "status");
      (box.closest(".box") ?? box).after(echo);
    }
    try {
      const answer = text && (await fetch(`/dates?text=${encodeURIComponent(text)}`, { redirect: "manual" }));
      const words = answer?.ok ? await answer.text() : "";
      if (box.value.trim() === text) echo.textContent = words;
    } catch {
      echo.textContent = "";
    }
  };
  box.addEventListener("input", () => {
    clearTimeout(timer);
    timer = setTimeout(read, 400);
  });
}
