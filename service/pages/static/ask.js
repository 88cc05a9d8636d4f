// The answer as it is typed, suggestions, and choices that fill a field. Without it the form is
// sent as forms are.
"use strict";
const form = document.getElementById("question");
const place = document.getElementById("answer");
const status = document.getElementById("status");
const SOON = 15; // ms without a key before the question is asked
const WAIT = 80; // the same while one is being answered, so that they do not queue
let asked = "";
let running = null;
let timer = 0;

function query() {
  const pairs = new URLSearchParams();
  for (const [name, value] of new FormData(form)) if (value.trim()) pairs.append(name, value.trim());
  return pairs.toString();
}

function later() {
  clearTimeout(timer);
  timer = setTimeout(ask, place.hasAttribute("aria-busy") ? WAIT : SOON);
}

async function ask() {
  clearTimeout(timer);
  const text = query();
  if (text === asked) return;
  asked = text;
  if (running) running.abort();
  const mine = (running = new AbortController());
  place.setAttribute("aria-busy", "true");
  try {
    const answer = await fetch(`${form.dataset.answer}?${text}`, { signal: mine.signal, credentials: "same-origin" });
    const html = await answer.text();
    if (mine !== running) return;
    show(html, answer.ok);
  } catch (fault) {
    if (fault.name !== "AbortError") say("The service does not answer. Ask again.");
    if (mine === running) asked = "";
  } finally {
    if (mine === running) place.removeAttribute("aria-busy");
  }
}

function say(text) {
  place.replaceChildren(Object.assign(document.createElement("p"), { className: "blank", textContent: text }));
  status.textContent = text;
}

function show(html, isGood) {
  const page = new DOMParser().parseFromString(html, "text/html");
  const made = page.querySelector("[data-answer][data-query]");
  if (!made) {
    // Signed out meanwhile, or refused: what the page says instead.
    const words = page.querySelector("h1, .lead");
    say(`${words ? words.textContent : "No answer"}. Open the page again.`);
    if (isGood) location.reload();
    return;
  }
  const notes = new Map([...made.querySelectorAll("template[data-note]")].map((item) => [item.dataset.note, item]));
  for (const note of document.querySelectorAll("[data-note]:not(template)")) {
    const found = notes.get(note.dataset.note);
    const before = note.textContent;
    if (!found) note.replaceChildren();
    else if (found.content.textContent !== before) note.replaceChildren(found.content.cloneNode(true));
    const field = document.getElementById(note.dataset.note);
    if (field) field[found?.content.querySelector(".error") ? "setAttribute" : "removeAttribute"]("aria-invalid", "true");
  }
  // What was opened stays open, though the answer is a new one.
  const opened = new Set([...place.querySelectorAll("article details[open]")].map((item) => item.parentElement.id));
  const isPassed = place.querySelector("details.pass[open]") !== null;
  place.replaceChildren(...[...made.children].filter((item) => item.tagName !== "TEMPLATE"));
  for (const item of place.querySelectorAll("article details")) if (opened.has(item.parentElement.id)) item.open = true;
  if (isPassed) place.querySelector("details.pass")?.setAttribute("open", "");
  status.textContent = made.dataset.status || [...notes.values()].map((item) => item.content.textContent.trim()).join(" ");
  const address = made.dataset.query ? `/?${made.dataset.query}` : "/";
  history.replaceState(null, "", address);
  const name = document.getElementById("section").value.trim();
  document.title = `${name || "Ask"}${form.elements.length.value ? `, ${form.elements.length.value}` : ""} · cuttable`;
  document.dispatchEvent(new Event("answer"));
}

form.addEventListener("input", later);
form.addEventListener("change", later);
form.addEventListener("submit", (event) => {
  if (event.submitter && event.submitter.matches(".choice")) {
    event.preventDefault();
    fill(event.submitter);
    return;
  }
  event.preventDefault();
  ask();
});

function fill(choice) {
  const { field, value } = choice.dataset;
  const box = form.querySelector(`input[type=checkbox][name="${field}"][value="${CSS.escape(value)}"]`);
  const target = document.getElementById(field);
  if (box) box.checked = true;
  else target.value = value;
  (box || target).closest("details")?.setAttribute("open", "");
  (box || target).focus();
  ask();
}

// --- keeping -------------------------------------------------------------------------------

document.addEventListener("submit", async (event) => {
  const keep = event.target.closest("[data-keep]");
  if (!keep) return;
  event.preventDefault();
  const told = keep.querySelector(".kept");
  const button = keep.querySelector("button");
  button.disabled = true;
  told.textContent = "Keeping …";
  try {
    const made = await fetch(keep.action, { method: "POST", body: new URLSearchParams(new FormData(keep)), credentials: "same-origin" });
    const number = new URL(made.url).pathname.split("/").pop();
    if (!made.ok || !/^\d+$/.test(number)) throw new Error("not kept");
    const link = Object.assign(document.createElement("a"), { href: `/answers/${number}`, textContent: `Kept as answer ${number}` });
    told.replaceChildren(link);
  } catch {
    told.textContent = "Not kept. Open the page again and repeat.";
    button.disabled = false;
  }
});

// --- suggestions ---------------------------------------------------------------------------

for (const input of document.querySelectorAll("[data-suggest]")) suggest(input);

function suggest(input) {
  const list = document.getElementById(`list-${input.name}`);
  let wanted = "";
  let at = -1;
  let running = null;
  let timer = 0;
  input.setAttribute("role", "combobox");
  input.setAttribute("aria-autocomplete", "list");
  input.setAttribute("aria-controls", list.id);
  input.setAttribute("aria-expanded", "false");

  const close = () => {
    list.hidden = true;
    at = -1;
    input.setAttribute("aria-expanded", "false");
    input.removeAttribute("aria-activedescendant");
  };
  const mark = (place) => {
    const items = [...list.children];
    if (!items.length) return;
    at = (place + items.length) % items.length;
    items.forEach((item, number) => item.setAttribute("aria-selected", String(number === at)));
    items[at].scrollIntoView({ block: "nearest" });
    input.setAttribute("aria-activedescendant", items[at].id);
  };
  const take = (item) => {
    input.value = item.dataset.value;
    wanted = input.value;
    close();
    ask();
  };
  const open = async () => {
    const text = input.value.trim();
    wanted = text;
    if (running) running.abort();
    if (text.length < 2) { close(); return; }
    running = new AbortController();
    let items = [];
    try {
      const found = await fetch(`${input.dataset.suggest}?count=80&text=${encodeURIComponent(text)}`, { signal: running.signal, credentials: "same-origin" });
      if (found.ok) items = (await found.json()).items;
    } catch { return; }
    if (wanted !== text || document.activeElement !== input) return;
    // What begins as it is typed comes first; the order is that of the tables otherwise.
    const begins = (item) => (item.designation || item.grade).toLowerCase().startsWith(text.toLowerCase());
    items = [...items.filter(begins), ...items.filter((item) => !begins(item))].slice(0, 12);
    list.replaceChildren(...items.map((item, number) => {
      const line = document.createElement("li");
      line.id = `${list.id}-${number}`;
      line.setAttribute("role", "option");
      line.setAttribute("aria-selected", "false");
      line.dataset.value = item.designation || item.grade;
      line.append(line.dataset.value, Object.assign(document.createElement("small"), { textContent: item.standard || item.product }));
      return line;
    }));
    const isOnly = items.length === 1 && list.firstChild.dataset.value === text;
    if (!items.length || isOnly) { close(); return; }
    at = -1;
    input.removeAttribute("aria-activedescendant");
    list.hidden = false;
    input.setAttribute("aria-expanded", "true");
  };
  input.addEventListener("input", () => {
    clearTimeout(timer);
    timer = setTimeout(open, WAIT);
  });
  input.addEventListener("keydown", (event) => {
    if (event.key === "ArrowDown" || event.key === "ArrowUp") {
      event.preventDefault();
      if (list.hidden) open();
      else mark(event.key === "ArrowDown" ? at + 1 : at < 0 ? -1 : at - 1);
    } else if (event.key === "Enter" && !list.hidden && at >= 0) {
      event.preventDefault();
      take(list.children[at]);
    } else if (event.key === "Escape" && !list.hidden) {
      event.preventDefault();
      close();
    } else if (event.key === "Enter" || event.key === "Tab") {
      clearTimeout(timer);
      wanted = "";
      close();
    }
  });
  list.addEventListener("pointerdown", (event) => {
    const item = event.target.closest("li");
    event.preventDefault();
    if (item) take(item);
  });
  input.addEventListener("blur", () => { wanted = ""; close(); });
}
// Where the answer stands below the question, what is usual takes no room above it.
const models = document.getElementById("models");
if (matchMedia("(max-width: 60rem)").matches && !models.querySelector(":checked")) models.open = false;
asked = query();
