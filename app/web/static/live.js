// A form that is sent for every reading: the answer takes the place of the content, and the cursor is
// back in the field before the next bag is on the scale. Without this the page is loaded anew.

export function refreshAfterEach(main, wake) {
  main.addEventListener("submit", async (sending) => {
    const form = sending.target;
    if (!form.matches("form[data-live]") || sending.submitter?.hasAttribute("data-book")) return;
    sending.preventDefault();
    sending.stopPropagation();
    const body = new URLSearchParams(new FormData(form, sending.submitter));
    try {
      const answer = await fetch(form.action, { method: "POST", body, headers: { Accept: "text/html" } });
      if (answer.redirected || !answer.headers.get("content-type")?.startsWith("text/html")) throw new Error(answer.url);
      const page = new DOMParser().parseFromString(await answer.text(), "text/html");
      main.replaceChildren(...page.querySelector("main").childNodes);
      wake(main);
      main.querySelector("[autofocus]")?.focus();
    } catch {
      // Whatever it was, the browser's own way of sending shows it.
      form.removeAttribute("data-live");
      form.requestSubmit(sending.submitter);
    }
  }, { capture: true });
}
