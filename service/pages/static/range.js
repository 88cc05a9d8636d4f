// The field that is pointed at tells what decides; a click asks the length under the pointer;
// arrow keys move between fields, so that the whole chart is one stop of the Tab key.
"use strict";
const said = document.getElementById("said");

for (const chart of document.querySelectorAll("svg.range")) {
  const fields = [...chart.querySelectorAll("a")];
  const rows = [...new Set(fields.map((item) => item.dataset.row))].map((row) => fields.filter((item) => item.dataset.row === row));
  const rove = (field) => {
    for (const item of fields) item.setAttribute("tabindex", item === field ? "0" : "-1");
  };
  if (fields.length) rove(fields[0]);

  const tell = (field, length) => {
    said.textContent = field.getAttribute("aria-label") + (length ? ` · click asks ${length}` : "");
  };
  const lengthAt = (field, event) => {
    const place = new DOMPoint(event.clientX, event.clientY).matrixTransform(chart.getScreenCTM().inverse());
    const { scale, left, units } = chart.dataset;
    const grid = units === "us" ? 12.7 : 10;
    const low = Number(field.dataset.low), high = Number(field.dataset.high);
    const at = Math.min(high, Math.max(low, Math.round((place.x - left) / scale / grid) * grid));
    return units === "us" ? `${Math.round(at / 12.7) / 2} in` : `${Math.round(at)} mm`;
  };
  const nearest = (row, field) => {
    const middle = (item) => (Number(item.dataset.low) + Number(item.dataset.high)) / 2;
    return row.reduce((best, item) => Math.abs(middle(item) - middle(field)) < Math.abs(middle(best) - middle(field)) ? item : best);
  };

  chart.addEventListener("pointermove", (event) => {
    const field = event.target.closest("a");
    if (field) tell(field, lengthAt(field, event));
  });
  chart.addEventListener("focusin", (event) => {
    const field = event.target.closest("a");
    if (field) { rove(field); tell(field); }
  });
  chart.addEventListener("click", (event) => {
    const field = event.target.closest("a");
    if (field && event.detail) field.setAttribute("href", `/?${field.dataset.query}&length=${encodeURIComponent(lengthAt(field, event))}`);
  });
  chart.addEventListener("keydown", (event) => {
    const field = event.target.closest("a");
    if (!field) return;
    const row = rows.findIndex((items) => items.includes(field));
    const place = rows[row].indexOf(field);
    const to = {
      ArrowRight: () => rows[row][place + 1], ArrowLeft: () => rows[row][place - 1],
      ArrowDown: () => rows[row + 1] && nearest(rows[row + 1], field),
      ArrowUp: () => rows[row - 1] && nearest(rows[row - 1], field),
      Home: () => rows[row][0], End: () => rows[row].at(-1),
    }[event.key];
    if (!to) return;
    event.preventDefault();
    to()?.focus();
  });
}
