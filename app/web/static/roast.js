// At the roaster: a planned batch fills in what it knows, also without a connection, and what was
// charged is added up. Masses are added in thousandths, never as fractions.

export function helpRoaster(within) {
  for (const form of within.querySelectorAll("form.task")) {
    const known = form.querySelector("[data-fills]");
    if (!known) continue;
    const fills = JSON.parse(known.dataset.fills);
    const choice = form.elements.batch;
    const fill = () => {
      for (const [field, value] of Object.entries(fills[choice.value] ?? {})) {
        if (field.startsWith("draws.1.") && !form.elements[field]) form.querySelector('button[value="more.draws"]').click();
        const there = form.elements[field];
        if (there?.type === "checkbox") there.checked = true;
        else if (there) there.value = value;
      }
      add();
    };
    const add = () => {
      const charge = [...form.elements].filter((each) => /^draws\.\d+\.kg/.test(each.name))
        .reduce((sum, each) => sum + thousandths(each.value), 0);
      const end = [...form.elements].find((each) => /^end_kg/.test(each.name));
      const out = thousandths(end.value);
      const { charged, lost, unit } = known.dataset;
      const loss = out > 0 && out < charge ? ` ${lost} ${written(Math.round((charge - out) * 1000 / charge) * 100)} %` : "";
      known.textContent = charge ? `${charged} ${written(charge)} ${unit}.${loss}` : "";
    };
    choice.addEventListener("change", fill);
    for (const sign of ["input", "change", "walk"]) form.addEventListener(sign, add);
    const asked = new URLSearchParams(location.search).get("batch");
    if (asked && choice.value !== asked) { choice.value = asked; fill(); }
    add();
  }
}

function thousandths(typed) {
  const found = /^(\d+)(?:[.,](\d{1,3}))?$/.exec(typed.trim());
  return found ? Number(found[1]) * 1000 + Number((found[2] ?? "").padEnd(3, "0")) : 0;
}

function written(thousandths) {
  return (thousandths / 1000).toLocaleString(document.documentElement.lang, { maximumFractionDigits: 3 });
}
