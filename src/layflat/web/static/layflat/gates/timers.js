/* Dwell times on the screen: counted down from the server's own times, with a sound, also while the
   network is gone. What is put on without network gets its time here, kept on this tablet until the
   page comes with it. */
const list = document.getElementById("timers-list");
const box = document.getElementById("timers");
function start() {
  let served = box.dataset.now;
  let ahead = clockAhead(Number(served));
  const local = readLocal();
  const sound = new Sound(document.getElementById("timers-sound"));
  const title = document.title;
  const said = new Map();
  for (const kept of local.all()) {
    if (isOnPage(kept) || kept.began < Number(box.dataset.now) - 30) local.drop(kept);
    else list.append(fromTemplate(kept));
  }
  document.addEventListener("submit", (event) => {
    const form = event.target;
    if (form.matches("[data-dwell]")) {
      const put = {
        step: form.dataset.dwell,
        where: form.elements.where.value,
        title: form.dataset.title,
        least: form.dataset.least,
        most: form.dataset.most,
        began: Math.floor(Date.now() / 1000 + ahead),
      };
      if (!isOnPage(put)) {
        local.keep(put);
        list.append(fromTemplate(put));
      }
    } else if (form.matches("[data-rinse]")) {
      const timer = form.closest("[data-timer]");
      timer.classList.add("rinsed");
      local.drop({ step: timer.dataset.step, where: timer.dataset.where });
    }
    tick();
  }, true); // before the form is emptied for the next tap
  setInterval(tick, 500);
  document.addEventListener("visibilitychange", tick);
  tick();

  function isOnPage({ step, where }) {
    return [...list.querySelectorAll("[data-timer]:not(.rinsed)")].some(
      (timer) => timer.dataset.step === step && timer.dataset.where === where,
    );
  }

  function tick() {
    if (box.dataset.now !== served) {
      served = box.dataset.now; // the page was brought up to date
      ahead = clockAhead(Number(served));
    }
    const now = Date.now() / 1000 + ahead;
    const timers = [...list.querySelectorAll("[data-timer]")];
    box.toggleAttribute("data-empty", timers.length === 0);
    let loudest = "";
    let loud = "";
    for (const timer of timers) {
      if (timer.classList.contains("rinsed")) {
        show(timer, "done", "rinsed", "");
        continue;
      }
      const stands = standing(timer.dataset, now);
      timer.classList.toggle("now", stands.is === "now" || stands.is === "hurry");
      timer.classList.toggle("dried", stands.is === "dried");
      show(timer, stands.shape, stands.word, stands.clock);
      if (RANK.indexOf(stands.is) > RANK.indexOf(loudest)) {
        loudest = stands.is;
        loud = `${stands.word}: ${timer.dataset.where || "the whole car"}`;
      }
      if (said.get(timer) !== stands.is) {
        said.set(timer, stands.is);
        if (stands.is !== "working") say(`${stands.word}: ${timer.dataset.where || "the whole car"}`);
      }
    }
    document.title = loudest && loudest !== "working" ? `(!) ${loud}` : title;
    sound.be(loudest);
  }
}

const RANK = ["", "working", "now", "hurry", "dried"];
const HURRY_S = 30;
/* The server's moments come as whole seconds, and a tap takes a moment to get there: rinsing is asked
   for once it is sure to count. */
const SURE_S = 2;

/* How a dwell time stands: its state, a word and shape of the look, the time that counts now. */
function standing({ began, least, most }, now) {
  const since = now - Number(began);
  if (most && since > Number(most)) {
    return {
      is: "dried",
      shape: "late",
      word: "may have dried: rinse, then do it again",
      clock: `${clock(since - Number(most))} over`,
    };
  }
  const working = Number(least) + SURE_S - since;
  if (least && working > 0) {
    return { is: "working", shape: "waiting", word: "working, rinse in", clock: clock(working) };
  }
  const left = most ? Number(most) - since : 0;
  return {
    is: most && left <= HURRY_S ? "hurry" : "now",
    shape: "today",
    word: "rinse now",
    clock: most ? `${clock(left)} left` : clock(since),
  };
}

function clock(seconds) {
  const whole = Math.max(0, Math.ceil(seconds));
  const hours = Math.floor(whole / 3600);
  const two = (number) => String(number).padStart(2, "0");
  const rest = `${hours ? two(Math.floor((whole % 3600) / 60)) : Math.floor(whole / 60)}:${two(whole % 60)}`;
  return hours ? `${hours}:${rest}` : rest;
}

function show(timer, shape, word, time) {
  const state = timer.querySelector(".timer-left .state");
  state.className = `state ${shape}`;
  if (state.textContent !== word) state.textContent = word;
  timer.querySelector(".timer-clock").textContent = time;
}

function say(words) {
  document.getElementById("timers-say").textContent = words;
}

function fromTemplate(put) {
  const timer = document.getElementById("timer-template").content.firstElementChild.cloneNode(true);
  Object.assign(timer.dataset, put);
  const where = put.where || "the whole car";
  timer.querySelector("h3").firstChild.textContent = `${where} `;
  timer.querySelector("h3 .quiet-text").textContent = put.title;
  timer.querySelector("button .seen-by-readers").textContent = ` ${where}`;
  const form = timer.querySelector("form");
  form.elements.step.value = put.step;
  form.elements.where.value = put.where;
  const random = crypto.getRandomValues(new Uint8Array(16));
  form.elements.tap.value = [...random].map((byte) => byte.toString(16).padStart(2, "0")).join("");
  return timer;
}

/* By how many seconds the server's clock is ahead of this one. A page that is answered again from
   the tablet's own store carries an old time: the first time that a page's time was seen counts. */
function clockAhead(served) {
  const ahead = served - Date.now() / 1000;
  try {
    const seen = JSON.parse(localStorage.getItem("gates-clock") || "{}");
    if (seen.served === served) return seen.ahead;
    localStorage.setItem("gates-clock", JSON.stringify({ served, ahead }));
  } catch {
    /* without a store, the page's own time */
  }
  return ahead;
}

/* Times that began on this tablet and that the page does not know yet. */
function readLocal() {
  const name = `gates-dwells-${box.dataset.job}`;
  const same = (one, other) => one.step === other.step && one.where === other.where;
  let kept = [];
  try {
    kept = JSON.parse(localStorage.getItem(name) || "[]");
  } catch {
    kept = [];
  }
  const write = () => {
    try {
      localStorage.setItem(name, JSON.stringify(kept));
    } catch {
      /* they last as long as the page then */
    }
  };
  return {
    all: () => [...kept],
    keep(put) {
      kept = [...kept.filter((one) => !same(one, put)), put];
      write();
    },
    drop(put) {
      kept = kept.filter((one) => !same(one, put));
      write();
    },
  };
}

/* Sounds made here, no file: two short ones when it may be rinsed, one every ten seconds when it
   hurries, three every five seconds when it may have dried. */
class Sound {
  constructor(button) {
    this.button = button;
    this.is = "";
    this.next = 0;
    this.wanted = true;
    button.hidden = false;
    button.addEventListener("click", () => {
      const was = this.context?.state === "running" && this.wanted;
      this.wanted = !was;
      if (this.wanted) this.wake(true);
      this.tell();
    });
    // Any tap allows sound; the one that only switches it off is the button's own.
    document.addEventListener("pointerdown", (event) => {
      if (!button.contains(event.target)) this.wake(false);
    });
    this.tell();
  }

  async wake(isHeard) {
    if (!this.wanted) return;
    this.context ??= new AudioContext();
    if (this.context.state !== "running") await this.context.resume();
    if (isHeard) this.beeps(1);
    this.tell();
  }

  tell() {
    const runs = this.context?.state === "running";
    this.button.textContent = !this.wanted ? "Sound is off" : runs ? "Sound is on" : "Sound: tap once";
    this.button.setAttribute("aria-pressed", String(Boolean(this.wanted && runs)));
  }

  be(state) {
    const now = performance.now();
    if (state !== this.is) {
      this.is = state;
      this.next = now;
    }
    if (now < this.next) return;
    const [count, pause] = { now: [2, Infinity], hurry: [1, 10_000], dried: [3, 5_000] }[state] ?? [0, Infinity];
    this.next = now + pause;
    this.beeps(count);
  }

  beeps(count) {
    if (!this.wanted || this.context?.state !== "running") return;
    for (let index = 0; index < count; index += 1) {
      const at = this.context.currentTime + index * 0.25;
      const tone = this.context.createOscillator();
      const volume = this.context.createGain();
      tone.frequency.value = 880;
      volume.gain.setValueAtTime(0.0001, at);
      volume.gain.exponentialRampToValueAtTime(0.5, at + 0.02);
      volume.gain.exponentialRampToValueAtTime(0.0001, at + 0.18);
      tone.connect(volume).connect(this.context.destination);
      tone.start(at);
      tone.stop(at + 0.2);
    }
  }
}

if (list && box) start();
