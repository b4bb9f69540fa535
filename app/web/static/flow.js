// Pictures of flows: made larger and smaller by buttons and keys, and kept as a file of dots.
// Without this the picture fits the page, is pushed about in its frame, and is kept as SVG.

const LARGEST = 8;
const STEP = 1.5;

export function layOutFlows(within) {
  for (const figure of within.querySelectorAll("[data-flow]")) layOut(figure);
}

function layOut(figure) {
  const sheet = figure.querySelector(".sheet");
  const picture = sheet.querySelector("svg");
  let size = 1;
  const resize = (wanted) => {
    const before = size;
    size = Math.min(Math.max(wanted, 1), LARGEST);
    // What stood in the middle stays there.
    const middle = [sheet.scrollLeft + sheet.clientWidth / 2, sheet.scrollTop + sheet.clientHeight / 2];
    picture.style.width = `${size * 100}%`;
    sheet.scrollLeft = (middle[0] * size) / before - sheet.clientWidth / 2;
    sheet.scrollTop = (middle[1] * size) / before - sheet.clientHeight / 2;
  };
  const acts = {
    larger: () => resize(size * STEP),
    smaller: () => resize(size / STEP),
    whole: () => resize(1),
    png: () => keepAsPng(picture, figure.dataset.name),
  };
  const keys = { "+": "larger", "=": "larger", "-": "smaller", 0: "whole" };
  sheet.addEventListener("keydown", (key) => {
    const act = keys[key.key];
    if (!act || key.ctrlKey || key.metaKey || key.altKey) return;
    key.preventDefault();
    acts[act]();
  });
  const caption = figure.querySelector("figcaption");
  for (const [name, act] of Object.entries(acts)) {
    const button = document.createElement("button");
    button.type = "button";
    button.textContent = figure.dataset[name];
    button.addEventListener("click", act);
    caption.append(button);
  }
}

async function keepAsPng(picture, name) {
  const drawn = picture.cloneNode(true);
  const box = picture.viewBox.baseVal;
  const scale = 4096 / Math.max(box.width, box.height);
  drawn.setAttribute("width", box.width * scale);
  drawn.setAttribute("height", box.height * scale);
  drawn.removeAttribute("style");
  const image = new Image();
  image.src = `data:image/svg+xml;charset=utf-8,${encodeURIComponent(new XMLSerializer().serializeToString(drawn))}`;
  await image.decode();
  const canvas = document.createElement("canvas");
  canvas.width = image.width;
  canvas.height = image.height;
  canvas.getContext("2d").drawImage(image, 0, 0);
  const made = await new Promise((done) => canvas.toBlob(done, "image/png"));
  const link = document.createElement("a");
  link.href = URL.createObjectURL(made);
  link.download = `${name}.png`;
  link.click();
  URL.revokeObjectURL(link.href);
}
