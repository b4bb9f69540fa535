// Two sounds made here, so that a hand on a sack needs no eye: one high note for yes, two low for no.

let room;

function note(hertz, after, seconds) {
  const oscillator = room.createOscillator();
  const loudness = room.createGain();
  oscillator.frequency.value = hertz;
  loudness.gain.setValueAtTime(0.25, room.currentTime + after);
  loudness.gain.exponentialRampToValueAtTime(0.001, room.currentTime + after + seconds);
  oscillator.connect(loudness).connect(room.destination);
  oscillator.start(room.currentTime + after);
  oscillator.stop(room.currentTime + after + seconds);
}

export function sound(yes) {
  if (!("AudioContext" in window)) return;
  room ??= new AudioContext();
  if (yes) note(1320, 0, 0.12);
  else { note(220, 0, 0.18); note(180, 0.22, 0.3); }
  if (!yes && "vibrate" in navigator) navigator.vibrate(200);
}
