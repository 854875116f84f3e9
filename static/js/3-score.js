// The skin score while it is being chosen. A domain counts once area and severity are both known (area 0 needs no severity).
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
