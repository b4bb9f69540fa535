// A form in steps: one part at a time, the sending at the end. Without this all parts stand below
// each other.

export function walkSteps(within) {
  for (const form of within.querySelectorAll("form[data-steps]")) walk(form);
}

function walk(form) {
  const steps = [...form.querySelectorAll("fieldset[data-step]")];
  const send = form.querySelector(".send");
  let at = Math.max(0, steps.findIndex((step) => step.querySelector(".wrong")));

  const show = (to, focus = true) => {
    at = to;
    steps.forEach((step, number) => { step.hidden = number !== at; });
    send.hidden = at < steps.length - 1;
    if (!focus) return;
    const empty = fields(steps[at]).find((field) => !field.value) ?? fields(steps[at])[0];
    (empty ?? steps[at].querySelector("button"))?.focus();
    form.scrollIntoView();
  };
  const next = () => {
    const flawed = fields(steps[at]).find((field) => !field.checkValidity());
    if (flawed) flawed.reportValidity();
    else show(at + 1);
  };

  steps.forEach((step, number) => {
    const turn = document.createElement("p");
    turn.className = "turn";
    if (number > 0) turn.append(button(form.dataset.back, () => show(number - 1), "second"));
    if (number < steps.length - 1) turn.append(button(form.dataset.next, next));
    step.append(turn);
    step.addEventListener("keydown", (key) => {
      const typing = key.target.matches("input:not([data-scan])");
      if (key.key !== "Enter" || !typing || number === steps.length - 1) return;
      key.preventDefault();
      const open = unanswered(step, key.target);
      if (open) open.focus();
      else next();
    });
  });
  form.addEventListener("walk", () => show(0));
  show(at, at > 0);
}

// A choice that nobody made yet is not passed over by Enter; from the choice itself it is.
function unanswered(step, from) {
  const choice = [...step.querySelectorAll("fieldset.pick")].find((each) => !each.querySelector(":checked"));
  return choice && !choice.contains(from) ? choice.querySelector("input") : null;
}

function fields(step) {
  return [...step.querySelectorAll("input, select, textarea")].filter(
    (field) => field.type !== "hidden" && field.offsetParent !== null);
}

function button(words, act, look = "") {
  const made = document.createElement("button");
  made.type = "button";
  made.className = look;
  made.textContent = words;
  made.addEventListener("click", act);
  return made;
}
