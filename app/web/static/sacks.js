// Sacks are written down one after the other while they are weighed. Each button here does at once
// what it does at the service without scripts: add a line, repeat the last, take a pasted list in.
// Sums are shown in whole thousandths; what is booked is added up by the service.

const SOUND = "sound";
const POUND_G = 453.59237;

export function writeSacksDown(within) {
  for (const block of within.querySelectorAll("[data-sacks]")) attend(block);
}

function attend(block) {
  const lot = block.dataset.sacks;
  const field = (name) => block.querySelector(`[name="${name}.${lot}"]`);
  const [weight, count, condition, place] = ["_kg", "_count", "_condition", "_place"].map(field);
  const list = block.querySelector(".sacklines");
  const refuse = (words) => { const sum = block.querySelector(".sum"); sum.classList.remove("none"); sum.textContent = words; };

  const last = () => list.lastElementChild;
  const part = (line, name) => line.querySelector(`[name$=".${name}"]`);
  const weightOf = (line) => line.querySelector('[name*="_kg"]');
  const kind = () => `${field("_gross").checked ? "gross_kg" : "net_kg"}${block.dataset.unit === "lb" ? ":lb" : ""}`;

  const add = (said, many) => {
    const before = last();
    const same = before && weightOf(before).value === said && weightOf(before).name.endsWith(kind())
      && part(before, "condition").value === (condition.value || SOUND) && part(before, "location").value === place.value;
    if (same) part(before, "count").value = Number(part(before, "count").value || 1) + many;
    else {
      const number = list.children.length;
      const made = block.querySelector("template").innerHTML
        .replaceAll("__n__", number).replaceAll("__line__", number + 1).replaceAll("__field__", kind());
      list.insertAdjacentHTML("beforeend", made);
      weightOf(last()).value = said;
      part(last(), "count").value = many;
      part(last(), "condition").value = condition.value || SOUND;
      part(last(), "location").value = place.value;
    }
  };
  const ready = () => { weight.value = count.value = ""; condition.value = ""; show(); weight.focus(); };
  const many = () => Number.parseInt(count.value, 10) || 1;

  const acts = {
    add() {
      if (thousandths(weight.value) === null) { refuse(block.dataset.unreadable); weight.select(); return; }
      add(weight.value.trim(), many());
      ready();
    },
    again() {
      if (!last()) { refuse(block.dataset.nothing); return; }
      part(last(), "count").value = Number(part(last(), "count").value || 1) + many();
      ready();
    },
    paste() {
      const text = field("_weights");
      const found = read(text.value);
      if (!found) { refuse(block.dataset.unreadable); text.focus(); return; }
      for (const [said, times] of found) add(said, times);
      text.value = "";
      ready();
    },
  };
  block.addEventListener("click", (click) => {
    const act = acts[click.target.closest("button[name=_ask]")?.value.split(".")[0]];
    if (act) { click.preventDefault(); act(); }
  });
  weight.addEventListener("keydown", (key) => {
    const act = key.key === "Enter" ? acts.add : key.key === "+" && !weight.value ? acts.again : null;
    if (act) { key.preventDefault(); act(); }
  });
  block.closest("form").addEventListener("input", () => show());
  block.querySelector(".keys").hidden = false;

  function show() {
    let sacks = 0, sum = 0, gross = false;
    for (const line of list.children) {
      const each = thousandths(weightOf(line).value);
      if (each === null) continue;
      const times = Number.parseInt(part(line, "count").value, 10) || 1;
      const tare = weightOf(line).name.includes("gross") ? tareOf() : 0;
      gross ||= tare === null;
      sacks += times;
      sum += (each - (tare ?? 0)) * times;
    }
    const words = block.dataset;
    const said = [(gross ? words.gross : words.sum).replace("%n", sacks).replace("%m", mass(sum))];
    const paper = thousandths(block.closest("form").querySelector(`[name="${words.paper}"]`).value);
    if (paper && !gross) {
      const more = sum - paper;
      said.push((more ? more < 0 ? words.less : words.more : words.even).replace("%m", mass(Math.abs(more))));
    }
    if (words.open && !gross) {
      const unit = words.unit === "lb" ? POUND_G : 1000;
      said.push(words.rest.replace("%m", mass(Math.max(0, Math.round((words.open / unit) * 1000) - sum))));
    }
    const shown = block.querySelector(".sum");
    shown.classList.toggle("none", !sacks);
    shown.textContent = sacks ? said.join(" ") : "";
  }

  function tareOf() {
    const named = (name) => block.querySelector(`[name^="lots.${lot}.tare_sample.${name}"]`).value;
    const empties = Number.parseInt(named("empties"), 10), weighed = thousandths(named("kg"));
    return empties && weighed ? Math.floor(weighed / empties + 0.5) : null;
  }

  function mass(said) {
    const number = (said / 1000).toLocaleString(document.documentElement.lang, { maximumFractionDigits: 3 });
    return `${number}\u202f${block.dataset.unit}`;
  }
  show();
}

// "60,2" in thousandths: 60200; null for what is no weight.
function thousandths(said) {
  const found = /^\s*(\d{1,6})(?:[.,](\d{1,3}))?\s*$/.exec(said);
  return found && Number(found[1]) * 1000 + Number((found[2] ?? "").padEnd(3, "0"));
}

// Weights with how often each: one after the other, or "40 x 60" in a line; null if one is none.
function read(text) {
  const found = [];
  for (const line of text.split("\n")) {
    const times = /^\s*(\d{1,4})\s*[x×*]\s*(\S+)\s*$/.exec(line);
    if (times) found.push([times[2], Number(times[1])]);
    else for (const each of line.split(/[\s;]+/).filter(Boolean)) found.push([each, 1]);
  }
  return found.every(([said]) => thousandths(said) !== null) ? found : null;
}
