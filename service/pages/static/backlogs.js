// A file is dropped where it is chosen, and how far a backlog is comes by itself.
"use strict";
const drop = document.getElementById("drop");
if (drop) {
  const input = document.getElementById("file");
  for (const name of ["dragenter", "dragover"]) drop.addEventListener(name, (event) => { event.preventDefault(); drop.classList.add("over"); });
  for (const name of ["dragleave", "drop"]) drop.addEventListener(name, (event) => { event.preventDefault(); drop.classList.remove("over"); });
  drop.addEventListener("drop", (event) => {
    if (!event.dataTransfer.files.length) return;
    const one = new DataTransfer();
    one.items.add(event.dataTransfer.files[0]);
    input.files = one.files;
    input.focus();
  });
  drop.closest("form").addEventListener("submit", (event) => {
    const button = event.submitter;
    setTimeout(() => { if (button) { button.disabled = true; button.textContent = "Sending …"; } });
  });
  // Back from where it led, the form is new.
  window.addEventListener("pageshow", (event) => { if (event.persisted) location.reload(); });
}

const progress = document.querySelector("[data-watch]");
if (progress) {
  const watch = async () => {
    try {
      const told = await fetch(progress.dataset.watch, { credentials: "same-origin" });
      if (told.ok) {
        const page = new DOMParser().parseFromString(await told.text(), "text/html");
        const made = page.querySelector("[data-state]");
        const state = made.dataset.state;
        if (state !== "waiting" && state !== "running") { location.reload(); return; }
        const said = progress.querySelector("[role=status]");
        if (!said || said.textContent !== made.querySelector("[role=status]").textContent) progress.replaceChildren(made);
      }
    } catch { /* the service may be starting again */ }
    setTimeout(watch, 1000);
  };
  setTimeout(watch, 500);
}
