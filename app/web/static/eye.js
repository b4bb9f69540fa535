// The camera as a scanner, where the browser can read codes by itself.

export async function eye(field, take) {
  if (!("BarcodeDetector" in window) || !navigator.mediaDevices?.getUserMedia) return;
  const formats = await BarcodeDetector.getSupportedFormats();
  if (!formats.length) return;
  const label = document.getElementById("queue").dataset.camera;
  const box = document.createElement("span");
  box.className = "scanbox";
  field.before(box);
  const button = document.createElement("button");
  button.type = "button";
  button.className = "eye";
  button.textContent = label;
  box.append(field, button);
  let stop = null;

  button.addEventListener("click", async () => {
    if (stop) { stop(); return; }
    const stream = await navigator.mediaDevices.getUserMedia({ video: { facingMode: "environment" } });
    const video = document.createElement("video");
    video.className = "eye";
    video.muted = true;
    video.playsInline = true;
    video.srcObject = stream;
    box.after(video);
    await video.play();
    const detector = new BarcodeDetector({ formats });
    let looking = true;
    stop = () => {
      looking = false;
      stop = null;
      for (const track of stream.getTracks()) track.stop();
      video.remove();
    };
    while (looking) {
      const [seen] = await detector.detect(video);
      if (seen) { stop(); await take(seen.rawValue); break; }
      await new Promise(requestAnimationFrame);
    }
  });
}
