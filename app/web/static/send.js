// A form is sent once, however often its button is tapped, and nobody leaves half of it by accident.

export function sendOnce(within) {
  for (const form of within.querySelectorAll("form.task")) {
    form.addEventListener("submit", (sending) => {
      const button = form.querySelector(".send button");
      if (button.getAttribute("aria-busy") === "true") { sending.preventDefault(); return; }
      button.setAttribute("aria-busy", "true");
    });
    // Coming back with the browser's own button finds the form as it was left, and ready.
    window.addEventListener("pageshow", () => form.querySelector(".send button").removeAttribute("aria-busy"));
  }
  within.querySelector('[aria-invalid="true"]')?.focus();
}
