// Loading: every scan of a bag counts one into the row of its pack; a case or a pallet is a row of its
// own, once. What was picked before says how many of it are on the cart.

import { ask, hear } from "./scan.js";

export function countLoads(within) {
  for (const field of within.querySelectorAll("input[data-load]")) load(field);
}

function load(field) {
  const { form } = field;
  const list = field.dataset.load;
  const scanned = new Map();
  const picked = new Map();
  field.closest(".field").hidden = false;
  const tell = hear(field);
  if (field.autofocus) field.focus();
  const row = (number) => ["pack", "case"].map((kind) => form.elements[`${list}.${number}.${kind}`]).find(Boolean);
  const rows = () => form.querySelectorAll(`[data-row="${list}"]`).length;
  const find = (code) => [...Array(rows()).keys()].find((number) => row(number).value.toUpperCase() === code);

  const place = (code) => {
    const there = find(code) ?? find("");
    if (there !== undefined) return there;
    form.querySelector(`button[name="_ask"][value="more.${list}"]`).click();
    return rows() - 1;
  };
  const count = ({ code, kind }) => {
    const number = place(code);
    const bags = form.elements[`${list}.${number}.bags`];
    row(number).value = code;
    if (!picked.has(code)) picked.set(code, Number(bags.value) || 0);
    scanned.set(code, (scanned.get(code) ?? 0) + 1);
    if (kind === "case") { bags.value = ""; return code; }
    bags.value = Math.max(Number(bags.value) || 0, scanned.get(code));
    return `${code} · ${field.dataset.counted.replace("%s", scanned.get(code)).replace("%t", picked.get(code) || bags.value)}`;
  };
  const tooMany = (code) => picked.get(code) > 0 && scanned.get(code) > picked.get(code);

  field.addEventListener("keydown", async (key) => {
    if (key.key !== "Enter" || key.isComposing) return;
    key.preventDefault();
    const text = field.value;
    if (!text.trim()) return;
    field.value = "";
    const answer = await ask(text, field.dataset.wanted);
    const words = answer.accepted ? count(answer) : "";
    tell(answer.accepted && tooMany(answer.code) ? { ...answer, accepted: false } : answer, words);
    field.focus();
    form.dispatchEvent(new Event("change", { bubbles: true }));
  });
}
