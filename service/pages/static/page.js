// What every page has: buttons that copy. Pages work without it.
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
  const words = button.firstChild;
  words.data = "Copied";
  setTimeout(() => { words.data = "Copy"; }, 1500);
});
const showCopies = () => document.querySelectorAll("[data-copy][hidden]").forEach((item) => { item.hidden = false; });
showCopies();
document.addEventListener("answer", showCopies);
