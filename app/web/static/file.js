// A file that is chosen is read into the field it names, so that nobody has to paste it.

export function readFiles(within) {
  for (const choice of within.querySelectorAll("[data-file]")) {
    const input = choice.querySelector("input");
    const field = within.getElementById(choice.dataset.file);
    choice.hidden = false;
    input.addEventListener("change", () => read(input, field, choice.dataset.unreadable));
  }
}

async function read(input, field, unreadable) {
  input.setCustomValidity("");
  const [file] = input.files;
  if (!file) return;
  try {
    field.value = new TextDecoder("utf-8", { fatal: true }).decode(await file.arrayBuffer());
  } catch {
    input.value = "";
    input.setCustomValidity(unreadable);
    input.reportValidity();
  }
}
