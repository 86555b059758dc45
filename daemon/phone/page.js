// The page: shows what the server pushes, and trusts neither it nor the network.
import {chart, icon, shape} from "/drawing.js";
import * as sound from "/sound.js";

const UNKNOWN = "not known";
const WORDS = ["safe", "look", "wake", "out", "silent", "trial", UNKNOWN];
const GRAVE = ["out", "silent", UNKNOWN, "wake", "look", "trial", "safe"];
const OLD_MS = 5000; // no news for so long: what was last heard is not known to be so
const FIRST_MS = 93000; // three heartbeats and a little, where none was ever heard
const VALUE_OLD_S = 60;
const LATE_MS = 1000; // a press that is not answered by then is said to be unheard
const FRESH_STATES = ["unacknowledged", "acknowledged", "latched-unacknowledged",
  "latched-acknowledged"];

const wallOffset = Date.now() - performance.now();

const $ = (id) => document.getElementById(id);
const began = now();
let last = null; // the last view that came
let lastAt = null; // when, by this page's own clock
let rows = [];
let past = {};
let refusal = "";
let wanted = new URLSearchParams(location.search).get("cabin") || "";
let shown = "";
let keeping = false;
let lock = null;
let pressed = null;
let marked = null;

// Both clocks: the one stands still while a phone sleeps, the other may be set back.
function now() {
  return Math.max(performance.now(), Date.now() - wallOffset);
}

function storage(key, value) {
  try {
    if (value === undefined) return localStorage.getItem(key) || "";
    localStorage.setItem(key, value);
  } catch { /* a private window keeps nothing: the page works without */ }
  return value || "";
}

// --- pairing ------------------------------------------------------------------------
const pairing = /^#pair=([\w-]{16,200})$/.exec(location.hash);
if (pairing) {
  storage("token", pairing[1]);
  history.replaceState(null, "", location.pathname + location.search);
}
const token = pairing ? pairing[1] : storage("token");
const headers = token ? {"Authorization": `Bearer ${token}`} : {};

// --- what comes in ------------------------------------------------------------------
async function listen() {
  for (;;) {
    let wait = 1000;
    try {
      await stream();
    } catch (error) {
      if (error && error.refusal) [refusal, wait] = [error.refusal, 5000];
    }
    draw();
    await new Promise((done) => setTimeout(done, wait));
  }
}

async function stream() {
  const ending = new AbortController();
  const response = await fetch(`/events?cabin=${encodeURIComponent(wanted)}`,
    {headers, signal: ending.signal, cache: "no-store"});
  if (!response.ok) {
    const said = await response.json().catch(() => ({}));
    throw {refusal: String(said.text || `The server answers ${response.status}.`)};
  }
  refusal = "";
  streams.push(ending);
  const reader = response.body.pipeThrough(new TextDecoderStream()).getReader();
  let rest = "";
  let late = null;
  try {
    for (;;) {
      clearTimeout(late);
      // A connection that brings nothing is a dead one, whatever the system thinks.
      late = setTimeout(() => ending.abort(), 2 * OLD_MS);
      const {value, done} = await reader.read();
      if (done) return;
      rest += value;
      const parts = rest.split("\n\n");
      rest = parts.pop();
      for (const part of parts) {
        if (part.startsWith("data: ")) take(JSON.parse(part.slice(6)));
      }
    }
  } finally {
    clearTimeout(late);
    streams.splice(streams.indexOf(ending), 1);
    ending.abort();
  }
}
const streams = [];

function take(message) {
  if (message.rows) rows = message.rows;
  if (message.past) past = message.past;
  last = message;
  lastAt = now();
  draw();
}

// --- which word ---------------------------------------------------------------------
function judged() {
  const at = now();
  const age = lastAt === null ? at - began : at - lastAt;
  const view = last && last.view;
  if (lastAt === null) return age > FIRST_MS ? "silent" : UNKNOWN;
  if (!view) {
    if (age > FIRST_MS) return "silent";
    if (age > OLD_MS) return UNKNOWN;
    const gravest = rows.map((row) => row.word).sort((a, b) => rank(a) - rank(b))[0];
    return gravest && WORDS.includes(gravest) ? gravest : UNKNOWN;
  }
  // Silent by this page's own clock, whatever the server did.
  if (view.word === "silent" || age > view.silent_in_s * 1000) return "silent";
  if (age > OLD_MS || refusal || !WORDS.includes(view.word)) return UNKNOWN;
  return view.word;
}

function rank(word) {
  const at = GRAVE.indexOf(word);
  return at < 0 ? 0 : at;
}

function order(word, view) {
  const number = last && last.phone_number ? ` ${last.phone_number}` : "";
  switch (word) {
    case "out": return act(view) || "Get everyone outside now.";
    case "wake": return act(view) || "Open the door and vents now.";
    case "look": return act(view) || (view && view.blind && !view.stands.length
      ? view.blind : "Something needs attention.");
    case "silent": return `Not monitored. Call them.${number}`;
    case "trial": if (view && view.part_test !== null && !view.trial) {
      const by = {"breath": " with breath", "gas": " with test gas"}[view.part_test] || "";
      return `A test of the sensors${by}: its alarms are not dangers.`;
    }
    const until = view && view.trial && clock(view.trial[1]);
    return view && view.trial
      ? `A trial: nobody is inside.${until ? ` Until ${until}.` : ""}`
      : "A trial: nobody is inside.";
    case "safe": return "Monitored.";
    default: return refusal || "No news: do not rely on this page.";
  }
}

// The act stands at a sentence's end, in the cabin's own language: it is shown first.
function parted(alarm) {
  const said = /^(.*[.!?]) (.+[.!?])$/s.exec(alarm.text);
  return said ? [said[1], said[2]] : [alarm.text, ""];
}

function act(view) {
  return view && view.stands.length ? parted(view.stands[0])[1] : "";
}

function since(word, view) {
  if (refusal && word === UNKNOWN) return "";
  if (!view) return lastAt === null ? "Connecting." : "";
  const first = view.stands[0];
  if (word === "silent") {
    const heard = view.age_s === null ? null : view.age_s + (now() - lastAt) / 1000;
    const cause = {"broker": " The broker is out of reach.", "bridge": " Its bridge is down.",
      "lost": " The monitor died, or lost its broker."}[view.cause] || "";
    return (heard === null ? "Never heard alive." : `Last heard ${ago(heard)}.`) + cause
      + (first ? ` Not over then: ${dated(first)}` : "");
  }
  if (word === UNKNOWN) {
    if (view.word !== UNKNOWN) return `Last news ${ago((now() - lastAt) / 1000)}.`;
    if (view.age_s === null) return "Waiting for its first sign of life.";
    const heard = `Last sign of life ${ago(view.age_s + (now() - lastAt) / 1000)}`;
    return view.cause === "lost" ? `${heard}. The monitor died, or lost its broker.`
      : `${heard}, and no gas has been measured since.`;
  }
  if (first) return dated(first) + (view.answered ? ` ${view.answered}` : "");
  const next = Math.max(0, view.period_s - view.age_s - (now() - lastAt) / 1000);
  return `No alarm. Next sign of life in ${Math.ceil(next)} s.`;
}

// A text is as it was sent: with its time nobody takes its number for the present one.
function dated(alarm) {
  const when = clock(alarm.since);
  return `${when ? `${when}: ` : ""}${parted(alarm)[0]}`;
}

function clock(moment) {
  const at = new Date(moment);
  return isNaN(at) ? "" : at.toLocaleTimeString([],
    {hour: "2-digit", minute: "2-digit", hourCycle: "h23"});
}

function ago(seconds) {
  if (seconds < 90) return `${Math.round(seconds)} s ago`;
  if (seconds < 5400) return `${Math.round(seconds / 60)} min ago`;
  return `${(seconds / 3600).toFixed(1)} h ago`;
}

// --- drawing ------------------------------------------------------------------------
function text(id, words) {
  const node = $(id);
  if (node.textContent !== words) node.textContent = words;
}

let drawnWord = "";
function draw() {
  const word = judged();
  const view = last && last.view;
  if (word !== drawnWord) {
    drawnWord = word;
    document.body.dataset.word = word.replace(" ", "-");
    text("word", word);
    $("shape").replaceChildren(shape(word));
    document.querySelector("link[rel=icon]").href = icon(word);
    text("live", `${word}. ${order(word, view)}`);
  }
  const name = view ? view.name : rows.length > 1 ? `${rows.length} cabins` : "";
  document.title = name ? `${word} – ${name}` : word;
  text("cabin", name);
  $("rehearsal").hidden = !(view && view.emulated);
  text("order", order(word, view));
  text("since", since(word, view));
  drawPress(word, view);
  drawRows(word);
  const fresh = view && now() - lastAt < FIRST_MS;
  drawDecides(fresh ? view : null, word);
  drawRest(fresh ? view : null, word);
  drawStands(fresh ? view : null, word);
  $("account").hidden = !(view && view.morning);
  if (view) text("morning", view.morning);
  drawFoot(view);
  drawMark(view);
  if (keeping) sound.play(word);
}

// What waits for an answer: what rings, else the test before bed.
function firstOpen(view) {
  if (!view) return undefined;
  const isAnswered = view.test && pressed && pressed.test === view.test.stand;
  return view.stands.find((one) => one.open) || (isAnswered ? undefined : view.test);
}

function isTest(open) {
  return Boolean(open && last.view.test && open.alarm === last.view.test.alarm);
}

function drawPress(word, view) {
  const open = firstOpen(view);
  const done = pressed && view && pressed.cabin === view.cabin
    && now() - pressed.at < 20000;
  const isNews = now() - lastAt < OLD_MS;
  const can = open && last.may_answer && isNews
    && (isTest(open) || word === "out" || word === "wake" || word === "look");
  $("press").hidden = !(can || done);
  if (!can && !done) return;
  $("heard").disabled = !can || Boolean(pressed && pressed.waits);
  text("means", !can ? ""
    : isTest(open) ? "A test from the cabin, no alarm: it shows there that it reached you."
      : "Quiet for some minutes, as by the button; sounds again if it gets worse.");
  text("done", done ? pressed.text : "");
  $("done").className = done && pressed.wrong ? "wrong" : "";
}

async function press() {
  const view = last && last.view;
  const open = firstOpen(view);
  if (!open || (pressed && pressed.waits)) return;
  const mine = {cabin: view.cabin, at: now(), waits: true, wrong: false, text: "Passing it on."};
  pressed = mine;
  await pass("/answer", {cabin: view.cabin, alarm: open.alarm, stand: open.stand,
    as_of_ms: last.as_of_ms}, mine, "Use the button.");
  if (isTest(open) && !mine.wrong) mine.test = open.stand;
  draw();
}

async function mark(event) {
  event.preventDefault();
  const view = last && last.view;
  if (!view || (marked && marked.waits)) return;
  const mine = {cabin: view.cabin, at: now(), waits: true, wrong: false, text: "Passing it on."};
  marked = mine;
  await pass("/mark", {cabin: view.cabin, text: $("mark-text").value}, mine, "Try again.");
  if (!mine.wrong) $("mark-text").value = "";
}

// Passes on what was pressed, and says in `mine` what became of it: within a second.
async function pass(path, body, mine, else_) {
  const late = setTimeout(() => {
    if (mine.waits) [mine.wrong, mine.text] = [true, `Not received yet. ${else_}`];
    draw();
  }, LATE_MS);
  draw();
  try {
    if (now() - lastAt > OLD_MS) throw new Error("old");
    const response = await fetch(path, {
      method: "POST", cache: "no-store", signal: AbortSignal.timeout(5000),
      headers: {...headers, "Content-Type": "application/json"},
      body: JSON.stringify(body),
    });
    const said = await response.json();
    mine.wrong = said.ok !== true;
    mine.text = String(said.text || (mine.wrong ? "Not received." : "Received."));
  } catch {
    [mine.wrong, mine.text] = [true, `Not received by the monitor. ${else_}`];
  }
  clearTimeout(late);
  [mine.waits, mine.at] = [false, now()];
  draw();
}

function drawMark(view) {
  $("marking").hidden = !(view && last.may_answer);
  const done = marked && view && marked.cabin === view.cabin && now() - marked.at < 20000;
  text("marked", done ? marked.text : "");
  $("marked").className = done && marked.wrong ? "wrong" : "";
}

function drawRows(shownWord) {
  $("list").hidden = rows.length < 2;
  if (rows.length < 2) return;
  const late = lastAt === null ? 0 : (now() - lastAt) / 1000;
  const made = rows.map((row) => {
    const item = document.createElement("li");
    const link = document.createElement("a");
    link.href = `/?cabin=${encodeURIComponent(row.cabin)}`;
    // Rows come each third second: the one that is shown has the newer word above.
    const word = row.cabin === wanted ? shownWord : late > row.silent_in_s + 3 ? "silent"
      : late > OLD_MS / 1000 + 3 ? UNKNOWN : WORDS.includes(row.word) ? row.word : UNKNOWN;
    if (row.cabin === wanted) link.setAttribute("aria-current", "page");
    const age = row.age_s === null ? "never heard" : ago(row.age_s + late);
    for (const [kind, words] of [["row-word", word], ["row-name", row.name], ["age", age],
      ["row-text", row.text]]) {
      const part = document.createElement("span");
      part.className = kind;
      if (kind === "row-word") part.dataset.word = word.replace(" ", "-");
      part.textContent = words;
      if (words) link.append(part);
    }
    item.append(link);
    return item;
  });
  const key = made.map((item) => item.textContent).join("|");
  if ($("rows").dataset.key === key) return;
  const focused = document.activeElement && document.activeElement.closest("#rows a");
  $("rows").dataset.key = key;
  $("rows").replaceChildren(...made);
  if (focused) {
    const again = [...$("rows").querySelectorAll("a")].find((a) => a.href === focused.href);
    if (again) again.focus();
  }
}

function written(value) {
  const more = value.at_least ? "≥ " : "";
  return `${more}${value.value.toFixed(value.decimals)}`;
}

function ageOf(value) {
  return value.age_s + (now() - lastAt) / 1000;
}

function minutes(one) {
  return Math.max(1, Math.round(one)); // still to come: never 0
}

function outlook(value, estimates) {
  const isPast = value.limit !== null
    && (value.side === "below" ? value.value <= value.limit : value.value >= value.limit);
  if (isPast) return `past the usual limit of ${value.limit} ${value.unit}`;
  if (value.series !== "o2_pct" || !estimates) return "";
  const times = estimates.o2_minutes_to_19_5;
  if (times && times[0] !== null && times[1] !== null) {
    const first = minutes(times[0]);
    const last = times[2] === null ? null : minutes(times[2]);
    const to = last === null ? " or more" : last === first ? "" : ` to ${last}`;
    return `19.5 % in ${first}${to} min`;
  }
  const settles = estimates.o2_settles_pct;
  if (settles && settles[1] !== null) return `levels off at ${settles[1].toFixed(1)} %`;
  return "";
}

function wayOf(value, estimates) {
  const course = past[value.series] || [];
  const rate = value.series === "o2_pct" && estimates && estimates.o2_rate_pct_per_h;
  let change = 0;
  if (rate && rate[1] !== null) change = Math.abs(rate[1]) < 0.1 ? 0 : rate[1];
  else {
    const before = course.find((one) => one[0] > -10);
    if (before) change = value.value - before[1];
    if (Math.abs(change) < 0.6 * 10 ** -value.decimals) change = 0;
  }
  return change > 0 ? "rising" : change < 0 ? "falling" : "steady";
}

let drawnChart = "";
function drawDecides(view, word) {
  const value = view && view.values.find((one) => one.series === view.decides);
  $("decides").hidden = !value;
  if (!value) return;
  const age = ageOf(value);
  const isOld = age > VALUE_OLD_S || word === "silent" || word === UNKNOWN;
  text("decides-name", value.label);
  const number = $("number");
  const key = `${written(value)} ${value.unit} ${wayOf(value, view.estimates)} ${isOld}`;
  if (number.dataset.key !== key) {
    number.dataset.key = key;
    number.replaceChildren();
    for (const [kind, words] of [["figure", written(value)], ["unit", ` ${value.unit} `],
      ["way", isOld ? "" : wayOf(value, view.estimates)]]) {
      const part = document.createElement("span");
      part.className = kind + (isOld && kind === "figure" ? " old" : "");
      part.textContent = words;
      number.append(part);
    }
  }
  const more = outlook(value, view.estimates);
  text("outlook", isOld ? `measured ${ago(age)}` : more);
  const width = $("decides-drawing").clientWidth;
  const course = past[value.series] || [];
  const drawing = JSON.stringify([value.value, course.length, width, view.estimates, word]);
  if (drawing === drawnChart) return;
  drawnChart = drawing;
  const title = `${value.label} in the last hour: now ${written(value)} ${value.unit}`
    + (value.limit === null ? "" : `, usual limit ${value.limit} ${value.unit}`)
    + (more ? `; ${more}` : "");
  $("decides-drawing").replaceChildren(
    chart(value, course, isOld ? null : view.estimates, width, title));
}

const lines = new Map();
function drawRest(view, word) {
  const values = view ? view.values : [];
  $("rest").hidden = values.length === 0;
  const changes = view && word !== UNKNOWN && view.estimates && view.estimates.air_changes_per_h;
  for (const [series, line] of lines) {
    if (series !== "changes" && !values.some((one) => one.series === series)) {
      line.root.remove();
      lines.delete(series);
    }
  }
  for (const value of values) {
    const line = lines.get(value.series) || newLine(value.series, value.label);
    const age = ageOf(value);
    const isOld = age > VALUE_OLD_S || word === "silent" || word === UNKNOWN;
    if (line.value.textContent !== `${written(value)} ${value.unit}`) {
      line.value.textContent = `${written(value)} ${value.unit}`;
    }
    line.value.className = isOld ? "value old" : "value";
    line.age.textContent = ago(age);
    if (line.root.open) {
      const width = line.drawing.clientWidth;
      const course = past[value.series] || [];
      const key = `${value.value}|${course.length}|${width}`;
      if (line.key !== key) {
        line.key = key;
        line.drawing.replaceChildren(chart(value, course, null, width,
          `${value.label} in the last hour: now ${written(value)} ${value.unit}`));
      }
    }
  }
  let plain = $("changes");
  if (changes && changes[1] !== null) {
    if (!plain) {
      plain = document.createElement("p");
      plain.id = "changes";
      plain.className = "plain";
      $("lines").append(plain);
    }
    const words = `air changes ${changes[1].toFixed(1)} an hour `
      + `(${changes[0].toFixed(1)} to ${changes[2].toFixed(1)})`;
    if (plain.textContent !== words) plain.textContent = words;
  } else if (plain) plain.remove();
}

function newLine(series, label) {
  const root = document.createElement("details");
  const summary = document.createElement("summary");
  const [name, value, age] = ["label", "value", "age"].map((kind) => {
    const part = document.createElement("span");
    part.className = kind;
    summary.append(part);
    return part;
  });
  name.textContent = label;
  const drawing = document.createElement("div");
  root.append(summary, drawing);
  root.addEventListener("toggle", draw);
  $("lines").insertBefore(root, $("changes"));
  const line = {root, value, age, drawing, key: ""};
  lines.set(series, line);
  return line;
}

function drawStands(view, word) {
  const stands = view ? view.stands : [];
  const isPast = word === "silent" || word === UNKNOWN;
  text("stands-name", isPast ? "Alarms when it was last heard" : "Alarms");
  $("stands").hidden = stands.length === 0;
  const key = JSON.stringify(stands);
  if ($("alarms").dataset.key === key) return;
  $("alarms").dataset.key = key;
  const signal = {"high": "DANGER", "medium": "WARNING", "low": "CAUTION", "fault": "FAULT"};
  $("alarms").replaceChildren(...stands.map((one) => {
    const item = document.createElement("li");
    const when = clock(one.since);
    const state = FRESH_STATES.includes(one.state) ? "" : `, ${one.state}`;
    const answered = one.state.endsWith("acknowledged") && !one.open ? ", acknowledged" : "";
    for (const [kind, words] of [["priority",
      `${one.of_test ? "TEST" : signal[one.priority] || one.priority} `],
      ["said", one.text], ["when", ` ${when ? `since ${when}` : ""}${state}${answered}`]]) {
      const part = document.createElement("span");
      part.className = kind;
      part.textContent = words;
      item.append(part);
    }
    return item;
  }));
}

function drawFoot(view) {
  if (lastAt === null) return;
  const moment = new Date(last.at * 1000).toLocaleTimeString([],
    {hour: "2-digit", minute: "2-digit", second: "2-digit", hourCycle: "h23"});
  const beat = view && view.age_s !== null
    ? ` Last sign of life ${ago(view.age_s + (now() - lastAt) / 1000)}.` : "";
  const device = last.device ? ` This device is ${last.device}.` : "";
  text("as-of", `As of ${moment}.${beat}${device}`);
  if (view) text("place", view.place);
}

// --- kept watch, and the night -------------------------------------------------------
async function hold() {
  try {
    lock = await navigator.wakeLock.request("screen");
  } catch {
    lock = null;
  }
  text("kept", lock || !keeping ? keeping ? "The screen stays awake, and this page sounds." : ""
    : "This page sounds; keep the screen awake yourself.");
}

async function keepWatch() {
  keeping = !keeping;
  $("keep").setAttribute("aria-pressed", String(keeping));
  text("keep", keeping ? "Alarms sound here: stop" : "Sound alarms here");
  if (keeping) {
    await sound.allow().catch(() => {});
    await hold();
  } else {
    sound.stop();
    if (lock) lock.release();
    lock = null;
    text("kept", "");
  }
  draw();
}

const NIGHT = [20, 8]; // dark from and to, local hours (own choice)
function theme() {
  const chosen = storage("theme");
  const hour = new Date().getHours();
  const isNight = hour >= NIGHT[0] || hour < NIGHT[1];
  const isDark = chosen ? chosen === "dark"
    : isNight || matchMedia("(prefers-color-scheme: dark)").matches;
  document.documentElement.dataset.theme = isDark ? "dark" : "light";
  text("theme", isDark ? "Light" : "Dark");
}

$("heard").addEventListener("click", press);
$("marking").addEventListener("submit", mark);
$("keep").addEventListener("click", keepWatch);
$("theme").addEventListener("click", () => {
  storage("theme", document.documentElement.dataset.theme === "dark" ? "light" : "dark");
  theme();
});
document.addEventListener("visibilitychange", () => {
  if (document.visibilityState !== "visible") return;
  if (keeping) hold();
  draw();
});
addEventListener("resize", draw);
theme();
setInterval(theme, 60000);
setInterval(draw, 500);
draw();
listen();
