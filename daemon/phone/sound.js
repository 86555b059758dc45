// The page's own sound, once it was allowed to: the patterns that the sounder plays, in
// seconds, as daemon/outputs/signal/patterns.py has them.  A silence wakes, hurriedly;
// temporal-three means fire, and is never played.
const PATTERNS = {
  "out": {on: 0.1, gap: 0.1, count: 4, pause: 5.0},
  "silent": {on: 0.24, gap: 0.14, count: 3, pause: 2.6},
  "wake": {on: 0.2, gap: 0.2, count: 3, pause: 5.0},
};
const TONE_HZ = 520; // wakes sleepers best (config/limits.toml)

let audio = null;
let timer = null;
let playing = "";

export async function allow() {
  audio = audio || new AudioContext();
  await audio.resume();
}

export function stop() {
  clearTimeout(timer);
  playing = "";
  if (audio) audio.suspend();
}

export function play(word) {
  const wanted = PATTERNS[word] ? word : "";
  if (!audio || wanted === playing) return;
  clearTimeout(timer);
  playing = wanted;
  if (wanted) round();
}

function round() {
  const pattern = PATTERNS[playing];
  if (!pattern || !audio) return;
  audio.resume();
  let at = audio.currentTime + 0.05;
  for (let number = 0; number < pattern.count; number += 1) {
    const tone = audio.createOscillator();
    const gain = audio.createGain();
    tone.type = "square";
    tone.frequency.value = TONE_HZ;
    gain.gain.value = 0.6;
    tone.connect(gain).connect(audio.destination);
    tone.start(at);
    tone.stop(at + pattern.on);
    at += pattern.on + pattern.gap;
  }
  const whole = pattern.count * (pattern.on + pattern.gap) + pattern.pause;
  timer = setTimeout(round, (whole - pattern.gap) * 1000);
}
