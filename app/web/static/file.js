// A file that is chosen is read into the field it names, so that nobody has to paste it; one that is
// larger than may be sent is named before it takes its minutes on the way.

export function readFiles(within) {
  for (const choice of within.querySelectorAll("[data-file]")) {
    const input = choice.querySelector("input");
    const field = within.getElementById(choice.dataset.file);
    choice.hidden = false;
    input.addEventListener("change", () => read(input, field, choice.dataset.unreadable));
  }
}

export function weighFiles(within) {
  for (const input of within.querySelectorAll("input[data-largest]")) {
    input.addEventListener("change", () => {
      const large = [...input.files].filter((file) => file.size > Number(input.dataset.largest));
      const named = large.map((file) => file.name).join(", ");
      input.setCustomValidity(named && `${named}: ${input.dataset.tooLarge}`);
      input.reportValidity();
    });
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
