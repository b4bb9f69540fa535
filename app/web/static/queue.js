// Shows what waits to be sent, and lets the service worker keep the forms that are sent from afar.

const TRY_AGAIN_MS = 15_000;

export async function waitForConnection(document) {
  const section = document.getElementById("queue");
  const { who } = document.body.dataset;
  if (!("serviceWorker" in navigator) || !who) return;
  navigator.serviceWorker.addEventListener("message", ({ data }) => data.queue && show(section, data.queue));
  await navigator.serviceWorker.register("/worker.js");
  const worker = (await navigator.serviceWorker.ready).active;
  const say = (words) => worker.postMessage(words);

  const seal = document.querySelector('link[rel="stylesheet"]').getAttribute("href");
  const mark = `${who} ${seal}`;
  const others = localStorage.getItem("kept for") !== mark;
  localStorage.setItem("kept for", mark);
  const paths = [...document.querySelectorAll("a[data-offline]")].map((link) => link.getAttribute("href"));
  say({ forget: others, keep: [...paths, "/offline"] });

  window.addEventListener("online", () => say({}));
  setInterval(() => section.hidden || document.hidden || say({}), TRY_AGAIN_MS);
  section.addEventListener("click", ({ target }) => {
    if (target.dataset.drop) say({ drop: Number(target.dataset.drop) });
    if (target.dataset.tryAgain) say({});
  });
  document.querySelector('form[action="/sign-out"]').addEventListener("submit", () => {
    localStorage.removeItem("kept for");
    say({ forget: true });
  });
}

function show(section, queue) {
  section.hidden = !queue.length;
  const words = section.dataset;
  const refused = queue.some((each) => each.refused);
  const title = document.createElement("p");
  title.textContent = refused ? words.stopped : words.waiting;
  const list = document.createElement("ul");
  list.append(...queue.map((each) => line(each, words)));
  const again = button(words.again);
  again.dataset.tryAgain = "yes";
  section.replaceChildren(title, list, ...(queue.length && !refused ? [again] : []));
}

function line({ id, path, body, who, title, at, refused, foreign }, words) {
  const item = document.createElement("li");
  const said = document.createElement("p");
  const time = new Date(at).toLocaleTimeString(document.documentElement.lang, { timeStyle: "short", hourCycle: "h23" });
  said.textContent = `${time} ${title}: ${summary(body)}`;
  item.append(said);
  if (refused || foreign) {
    const why = document.createElement("p");
    why.className = "error";
    why.textContent = refused ? `${words.refused} ${refused}` : `${words.other} ${who}`;
    // What was left empty stays out: an address says nothing by an empty field.
    const said = [...new URLSearchParams(body)].filter(([name, value]) => name !== "_token" && value);
    const fields = new URLSearchParams(said);
    const open = document.createElement("a");
    open.className = "button";
    open.href = `${path}?${fields}`;
    open.textContent = words.correct;
    const drop = button(words.drop);
    drop.dataset.drop = id;
    item.append(why, ...(refused ? [open] : []), drop);
  }
  return item;
}

function button(words) {
  const made = document.createElement("button");
  made.type = "button";
  made.className = "plain";
  made.textContent = words;
  return made;
}

// What was typed, as somebody remembers it: the values without what only the service needs.
function summary(body) {
  return [...new URLSearchParams(body)]
    .filter(([name, value]) => !/^_(token|key|offline|who|version)$/.test(name) && value)
    .map(([, value]) => value.replace(/^(\d{4}-\d\d-\d\d)T/, "$1 ").split(/\s+/).join(" "))
    .join(", ");
}
