// One more row of a list without asking the service: a copy of the last one as it came, empty.

export function addRows(within, wake) {
  const pristine = new Map();
  for (const row of within.querySelectorAll("[data-row]")) pristine.set(row.dataset.row, row.cloneNode(true));
  within.addEventListener("click", (click) => {
    const button = click.target.closest('button[name="_ask"][formnovalidate]');
    const list = button?.value.replace(/^more\./, "");
    const fresh = pristine.get(list);
    if (!fresh) return;
    click.preventDefault();
    const rows = button.form.querySelectorAll(`[data-row="${list}"]`);
    const row = numbered(fresh.cloneNode(true), list, rows.length);
    rows[rows.length - 1].after(row);
    wake(row);
    row.querySelector("input, select")?.focus();
  });
}

// Names, ids and what points at them carry the number of their row.
function numbered(row, list, number) {
  for (const [before, after] of [[`${list}.`, `${list}.${number}.`], [`f-${list}-`, `f-${list}-${number}-`]]) {
    const digits = new RegExp(`^${before.replaceAll(".", "\\.")}\\d+[.-]`);
    for (const each of row.querySelectorAll("*")) {
      for (const name of ["name", "id", "for", "aria-describedby"]) {
        const said = each.getAttribute(name);
        if (said) each.setAttribute(name, said.split(" ").map((part) => part.replace(digits, after)).join(" "));
      }
    }
  }
  for (const each of row.querySelectorAll("input, select, textarea")) {
    if (each.type === "checkbox" || each.type === "radio") each.removeAttribute("checked");
    else if (each.type === "hidden") each.remove();
    else if (each.tagName === "SELECT") each.selectedIndex = 0;
    else each.setAttribute("value", "");
    each.removeAttribute("autofocus");
    each.removeAttribute("aria-invalid");
  }
  for (const each of row.querySelectorAll(".error, .heard")) each.remove();
  for (const each of row.querySelectorAll(".wrong")) each.classList.remove("wrong");
  return row;
}
