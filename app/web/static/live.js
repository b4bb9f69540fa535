// A form that is sent for every reading: the answer takes the place of the content, and the cursor is
// back in the field before the next bag is on the scale. What is read while the service is at work
// waits and goes along with the next. Without this the page is loaded anew.

export function refreshAfterEach(main, wake) {
  let busy = false;
  let waiting = [];

  const refresh = async (form, submitter, finished = true) => {
    const field = form.querySelector("[autofocus]");
    // While others wait, a reading that is half typed stays in the field.
    const half = finished ? "" : field.value;
    if (half) field.value = "";
    const body = new URLSearchParams(new FormData(form, submitter));
    const typed = [...waiting, field.value].filter(Boolean);
    for (const value of waiting) body.append(field.name, value);
    waiting = [];
    field.value = half;
    try {
      const answer = await fetch(form.action, { method: "POST", body, headers: { Accept: "text/html" } });
      if (answer.redirected || !answer.headers.get("content-type")?.startsWith("text/html")) throw new Error(answer.url);
      const page = new DOMParser().parseFromString(await answer.text(), "text/html");
      const since = field.value;
      main.replaceChildren(...page.querySelector("main").childNodes);
      wake(main);
      const fresh = main.querySelector("[autofocus]");
      fresh.value ||= since;
      fresh.focus();
    } catch {
      // Whatever it was, the browser's own way of sending shows it.
      field.value = typed.join(" ");
      form.removeAttribute("data-live");
      form.requestSubmit(submitter);
    }
  };

  main.addEventListener("submit", async (sending) => {
    const form = sending.target;
    if (!form.matches("form[data-live]")) return;
    if (sending.submitter?.hasAttribute("data-book") && !busy) return;
    sending.preventDefault();
    sending.stopPropagation();
    if (busy) {
      const field = form.querySelector("[autofocus]");
      waiting.push(field.value);
      field.value = "";
      return;
    }
    busy = true;
    await refresh(form, sending.submitter);
    while (waiting.length) {
      const next = main.querySelector("form[data-live]");
      await refresh(next, next.querySelector("button.unseen"), false);
    }
    busy = false;
  }, { capture: true });
}
