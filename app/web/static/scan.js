// Fields that are scanned into. A scanner types what it read and presses Enter, so Enter in such a
// field asks the book what that is, says yes or no by colour, word and sound, and moves on.
//
// data-scan="location"      one code of these kinds
// data-scans="sack roast"   many codes, a line each

import { eye } from "./eye.js";
import { sound } from "./sound.js";

export function listenToScans(within) {
  for (const field of within.querySelectorAll("input[data-scan]")) one(field);
  for (const field of within.querySelectorAll("textarea[data-scans]")) many(field);
}

export async function ask(text, wanted) {
  const query = new URLSearchParams({ text, wanted });
  try {
    const answer = await fetch(`/scanned?${query}`, { headers: { Accept: "application/json" } });
    if (answer.ok) return await answer.json();
    if (answer.status < 500) return { accepted: false, says: (await answer.json()).detail };
  } catch { /* no connection: the book looks at it when it is sent */ }
  return unheard(text.trim().toUpperCase(), wanted.split(" "));
}

// What may have a code of one character; the code of a unit has two at least.
const SHORT = ["location", "machine", "product", "instrument", "material"];

// Without a connection a mark or the barcode of a bag names nothing, and would be refused when it is
// sent. What has the form of a code is taken, but for a code of the book that is of another kind.
function unheard(code, wanted) {
  const words = document.getElementById("queue").dataset;
  const least = wanted.some((kind) => SHORT.includes(kind)) ? 1 : 2;
  if (code.length < least || !/^[A-Z0-9][A-Z0-9._-]{0,31}$/.test(code)) return { accepted: false, says: words.noCode };
  const [kind, name] = JSON.parse(words.lettered)[/^([A-Z])-\d{6,}-[A-Z0-9]$/.exec(code)?.[1]] ?? [];
  if (kind && !wanted.includes(kind)) {
    return { accepted: false, says: words.unwanted.replace("%k", name).replace("%c", code) };
  }
  return { accepted: true, unheard: true, code, says: words.unheard };
}

function say(field, heard, answer) {
  const around = field.closest(".field");
  around.classList.toggle("took", answer.accepted && !answer.unheard);
  around.classList.toggle("threw", !answer.accepted);
  heard.className = `heard ${answer.unheard ? "" : answer.accepted ? "yes" : "no"}`;
  heard.textContent = answer.unheard ? `${answer.code} · ${answer.says}` : answer.says || answer.code || "";
  sound(answer.accepted);
}

// What a field says of a scan, with a word of its own where it has one.
export function hear(field) {
  const heard = ear(field);
  return (answer, words) => {
    say(field, heard, answer);
    if (words) heard.textContent = words;
  };
}

function ear(field) {
  const heard = document.createElement("p");
  heard.className = "heard";
  heard.setAttribute("role", "status");
  field.closest(".field").append(heard);
  return heard;
}

function goOn(from) {
  const form = from.form;
  const fields = [...form.elements].filter(
    (each) => each.offsetParent !== null && !each.disabled && each.type !== "hidden" && !each.closest(".scanbox button, .taken"),
  );
  const next = fields[fields.indexOf(from) + 1];
  next?.focus();
  if (next?.matches("input")) next.select();
}

function onEnter(field, act) {
  field.addEventListener("keydown", (key) => {
    if (key.key !== "Enter" || key.isComposing) return;
    key.preventDefault();
    if (field.value.trim()) act(field.value);
  });
}

function one(field) {
  const heard = ear(field);
  const take = async (text) => {
    const answer = await ask(text, field.dataset.scan);
    say(field, heard, answer);
    if (answer.accepted) {
      field.value = answer.code;
      goOn(field);
    } else field.select();
  };
  onEnter(field, take);
  field.addEventListener("input", () => {
    heard.textContent = "";
    field.closest(".field").classList.remove("took", "threw");
  });
  eye(field, take);
}

function many(kept) {
  const field = document.createElement("input");
  field.className = "code";
  field.id = `${kept.id}-scan`;
  field.autocomplete = "off";
  field.spellcheck = false;
  field.setAttribute("autocapitalize", "characters");
  const label = kept.closest(".field").querySelector("label");
  label.htmlFor = field.id;
  for (const name of ["aria-describedby", "aria-invalid"]) {
    if (kept.hasAttribute(name)) field.setAttribute(name, kept.getAttribute(name));
  }
  kept.before(field);
  kept.hidden = true;
  if (kept.autofocus) field.focus();
  kept.required = false;
  const heard = ear(field);
  const list = document.createElement("ol");
  list.className = "taken";
  kept.closest(".field").append(list);

  const codes = () => kept.value.split(/[\s;,]+/).filter(Boolean);
  const keep = (all) => { kept.value = all.join("\n"); show(); kept.dispatchEvent(new Event("change", { bubbles: true })); };
  const counted = () => {
    const all = codes();
    return all.length === 1 ? kept.dataset.countOne : kept.dataset.countMany.replace("%s", all.length);
  };
  const show = () => {
    list.replaceChildren(...codes().toReversed().map((code) => {
      const line = document.createElement("li");
      const name = document.createElement("span");
      name.className = "code";
      name.textContent = code;
      const out = document.createElement("button");
      out.type = "button";
      out.className = "plain";
      out.textContent = kept.dataset.takeOut;
      out.setAttribute("aria-label", `${kept.dataset.takeOut}: ${code}`);
      out.addEventListener("click", () => { keep(codes().filter((each) => each !== code)); field.focus(); });
      line.append(name, out);
      return line;
    }));
    list.hidden = !codes().length;
  };
  const take = async (text) => {
    const answer = await ask(text, kept.dataset.scans);
    const all = codes();
    say(field, heard, answer);
    if (!answer.accepted) { field.select(); return; }
    if (!all.includes(answer.code)) all.push(answer.code);
    field.value = "";
    keep(all);
    heard.textContent = [answer.code, answer.says, counted()].filter(Boolean).join(" · ");
    field.focus();
  };
  onEnter(field, take);
  // What was typed and not confirmed with Enter goes along when the form is sent.
  field.form.addEventListener("submit", () => {
    const typed = field.value.trim().toUpperCase();
    if (typed) { keep([...new Set([...codes(), typed])]); field.value = ""; }
  }, { capture: true });
  eye(field, take);
  show();
  if (codes().length) heard.textContent = counted();
  if (kept.autofocus) field.focus();
}
