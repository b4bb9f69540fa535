// Clocks that run while somebody looks: the time since a moment, in minutes and seconds.

export function runClocks(within) {
  for (const clock of within.querySelectorAll("[data-since]")) {
    const since = Date.parse(clock.dataset.since);
    const tell = () => {
      const seconds = Math.max(0, Math.floor((Date.now() - since) / 1000));
      clock.textContent = `${Math.floor(seconds / 60)}:${String(seconds % 60).padStart(2, "0")}`;
    };
    tell();
    setInterval(tell, 1000);
  }
}
