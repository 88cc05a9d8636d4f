// What every page has: buttons that copy, tables that are a stop of the Tab key only where they
// scroll. Pages work without it.
"use strict";
document.addEventListener("click", async (event) => {
  const button = event.target.closest("[data-copy]");
  if (!button) return;
  const field = document.getElementById(button.dataset.copy);
  field.select();
  try {
    await navigator.clipboard.writeText(field.value);
  } catch {
    document.execCommand("copy"); // no clipboard without HTTPS
  }
  button.firstChild.data = "Copied";
  setTimeout(() => { button.firstChild.data = "Copy"; }, 1500);
});

function settle() {
  for (const item of document.querySelectorAll("[data-copy][hidden]")) item.hidden = false;
  for (const item of document.querySelectorAll(".scroll[aria-label]")) {
    if (item.scrollWidth > item.clientWidth) item.setAttribute("tabindex", "0");
    else if (item !== document.activeElement) item.removeAttribute("tabindex");
  }
}
settle();
document.addEventListener("answer", settle);
document.addEventListener("toggle", settle, true);
addEventListener("resize", settle);
