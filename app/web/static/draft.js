// What is typed into a long form stays on this device until it is booked: a roast takes a quarter of
// an hour, and a browser is closed by accident. The key of the form is kept with it, so that what was
// sent already is booked once.

export function keepDrafts(within) {
  for (const booked of within.querySelectorAll("[data-booked]")) forget(booked.dataset.booked);
  for (const form of within.querySelectorAll("form[data-draft]")) keep(form);
}

// Each for whoever typed it: a device at a machine has several hands.
const name = (path) => `draft ${document.body.dataset.who} ${path}`;
const forget = (path) => localStorage.removeItem(name(path));

function read(path) {
  const kept = JSON.parse(localStorage.getItem(name(path)) ?? "null");
  // What the service worker was given it books or keeps by itself.
  const handed = kept?.sent && navigator.serviceWorker?.controller;
  if (handed) { forget(path); return null; }
  return kept;
}

function keep(form) {
  const path = form.getAttribute("action");
  const before = read(path);
  const same = before?.fields.some(([field, value]) => field === "_key" && value === form.elements._key.value);

  const save = (sent) => {
    const fields = [...new FormData(form)].filter(([field]) => field === "_key" || !field.startsWith("_"));
    localStorage.setItem(name(path), JSON.stringify({ sent, at: Date.now(), fields }));
  };
  if (same) save(false);
  else if (before && !form.querySelector(".refused")) offer(form, path, before);
  form.addEventListener("input", () => save(false));
  form.addEventListener("change", () => save(false));
  form.addEventListener("submit", ({ submitter }) => save(submitter?.name !== "_ask"));
}

function offer(form, path, kept) {
  const bar = document.createElement("p");
  bar.className = "state draft";
  const words = kept.fields.filter(([field, value]) => value && !field.startsWith("_")).map(([, value]) => value);
  const time = new Date(kept.at).toLocaleTimeString(document.documentElement.lang, { timeStyle: "short", hourCycle: "h23" });
  bar.append(`${time} ${form.dataset.begun} ${words.slice(0, 6).join(", ")} `,
    button(form.dataset.resume, () => { resume(form, path, kept.fields); bar.remove(); }),
    button(form.dataset.drop, () => { forget(path); bar.remove(); }));
  form.before(bar);
}

function resume(form, path, fields) {
  if (form.hasAttribute("data-live")) location.assign(`${path}?${new URLSearchParams(fields)}`);
  else fill(form, fields);
}

function fill(form, fields) {
  for (const [field, value] of fields) {
    while (!form.elements[field] && /\.\d+\./.test(field)) {
      const rows = form.querySelectorAll("[data-row]").length;
      form.querySelector(`button[name="_ask"][value="more.${field.split(".")[0]}"]`)?.click();
      if (form.querySelectorAll("[data-row]").length === rows) break;
    }
    const there = form.elements[field];
    if (!there) continue;
    if (there instanceof RadioNodeList) there.value = value;
    else if (there.type !== "checkbox") there.value = value;
    (there.length ? there[0] : there).dispatchEvent?.(new Event("change", { bubbles: true }));
  }
  for (const tick of form.querySelectorAll("input[type=checkbox]")) {
    tick.checked = fields.some(([field, value]) => field === tick.name && value === tick.value);
  }
  form.dispatchEvent(new Event("walk"));
}

function button(words, act) {
  const made = document.createElement("button");
  made.type = "button";
  made.className = "plain";
  made.textContent = words;
  made.addEventListener("click", act);
  return made;
}
