'use strict';
// The page of the work place. It holds no rule of the work: it shows the scene that
// the site sends, offers the acts that stand in it, and sends a tap for each. A tap
// is kept in this browser until the site has answered it, and has an id, under which
// the site takes it once however often it is sent.
(() => {
  const settle = 400;      // ms that a step has to stand here before it is answered
  const burstGap = 60;     // ms between two characters of a scanner, at most
  const lookEvery = 2000;  // ms
  const answerTime = 8000; // ms until a request counts as lost
  const tapPrefix = 'pulk-tap:', refusedPrefix = 'pulk-refused:';

  const kept = (key, otherwise) => { try { return JSON.parse(sessionStorage.getItem(key)) ?? otherwise; } catch { return otherwise; } };
  const state = {
    people: kept('pulk-people', []),    // {person, token}; no token: the passphrase is asked again
    person: kept('pulk-person', ''),
    run: kept('pulk-run', ''), only: kept('pulk-only', ''),
    runs: null, scene: null, known: '', ahead: 0, // ahead: ms that the site's clock is ahead
    read: {},                           // hazards and cautions, by who read them
    at: '', since: 0, view: '', field: null, tools: {}, said: [], seen: null, offline: false, sending: false, voided: false, asked: '', wrong: '',
  };
  const keep = () => {
    for (const [key, value] of [['people', state.people], ['person', state.person], ['run', state.run], ['only', state.only]])
      sessionStorage.setItem('pulk-' + key, JSON.stringify(value));
  };
  const me = () => state.people.find((p) => p.person === state.person);

  // ---- the queue ----
  // Each tap lies under a key of its own, so that two windows do not write over each other.
  let counter = 0;
  const listed = (prefix) => Object.keys(localStorage).filter((k) => k.startsWith(prefix)).sort().map((k) => ({key: k, ...JSON.parse(localStorage.getItem(k))}));
  const queue = () => listed(tapPrefix);
  const order = () => String(Date.now()).padStart(15, '0') + ':' + String(counter++).padStart(6, '0');
  const newID = () => Array.from(crypto.getRandomValues(new Uint8Array(16)), (b) => b.toString(16).padStart(2, '0')).join('');
  const push = (tap) => {
    const id = newID();
    localStorage.setItem(tapPrefix + order() + ':' + id, JSON.stringify({person: state.person, run: state.run, tap: {id, step: '', act: '', text: '', entry: '', shown: '', read: false, at_ms: Date.now() + state.ahead, ...tap}}));
    state.said = [];
    flush();
    draw();
  };

  class Lost extends Error {}
  // ask sends a request. It throws Lost where no answer comes, or none of ours.
  async function ask(path, body, token, time) {
    const abort = new AbortController();
    const timer = setTimeout(() => abort.abort(), time ?? answerTime);
    try {
      const headers = {'Content-Type': 'application/json'};
      if (token) headers.Authorization = 'Bearer ' + token;
      const response = await fetch(path, {method: 'POST', headers, body: JSON.stringify(body), signal: abort.signal, cache: 'no-store'});
      const answer = await response.json();
      offline(false);
      return {status: response.status, answer};
    } catch (error) {
      offline(true);
      throw new Lost(String(error));
    } finally {
      clearTimeout(timer);
    }
  }
  function offline(is) {
    if (state.offline !== is) { state.offline = is; draw(); }
  }
  function ended(token) { // the site does not know the session any more
    for (const p of state.people) if (p.token === token) p.token = '';
    keep();
    draw();
  }

  let flushing = false, retry = 0;
  // flush sends what waits, one after the other, and goes on until all has an answer.
  async function flush() {
    if (flushing) return;
    flushing = true;
    clearTimeout(retry);
    let again = 0;
    try {
      for (const item of queue()) {
        const from = state.people.find((p) => p.person === item.person && p.token);
        if (!from) continue; // until that person enters
        state.sending = true;
        const {status, answer} = await ask('tap', {run: item.run, tap: item.tap}, from.token);
        if (status === 401) { ended(from.token); continue; }
        if (status === 429 || status >= 500) { state.said = [answer.what, 'next: ' + answer.hint]; again = 4000; break; }
        if (status === 200 && answer.taken) {
          state.said = answer.said.split('\n').filter((line) => line);
        } else {
          state.tools = {}; // the wrong one, perhaps
          localStorage.setItem(refusedPrefix + order(), JSON.stringify({person: item.person, step: item.tap.step, act: item.tap.act, text: item.tap.text, what: answer.what, because: answer.because, hint: answer.hint}));
        }
        localStorage.removeItem(item.key);
        // What is open again is most likely what comes next, however late it is heard how the run stands.
        if (item.tap.act === 'void' && answer.taken) state.voided = true;
        if (queue().length > 0) continue;
        await look(true);
        if (state.voided && !state.view) { state.voided = false; pick(); }
      }
    } catch (error) {
      if (!(error instanceof Lost)) throw error;
      again = 1500;
    } finally {
      flushing = state.sending = false;
      const step = current();
      if (state.offline && !state.view && step && pending(step.id)) pick(); // others that the run allows can be done meanwhile
      draw();
      const more = queue().some((item) => state.people.some((p) => p.person === item.person && p.token));
      if (again || more) retry = setTimeout(flush, again || 50);
    }
  }

  // ---- looking ----
  async function look(force) {
    const my = me();
    if (!my || !my.token) return;
    if (!state.run) {
      const {status, answer} = await ask('runs', {}, my.token);
      if (status === 401) return ended(my.token);
      if (status === 200 && JSON.stringify(answer.runs) !== JSON.stringify(state.runs)) { state.runs = answer.runs; draw(); }
      return;
    }
    const {status, answer} = await ask('look', {run: state.run, known: force ? '' : state.known}, my.token);
    if (status === 401) return ended(my.token);
    if (status !== 200 || !answer.known) { state.said = [answer.what, answer.hint].filter((line) => line); draw(); return; }
    state.ahead = answer.now_ms - Date.now();
    if (!answer.scene || my !== me()) return;
    take(answer.scene, answer.known);
  }
  function take(scene, known) {
    if (!state.seen) state.seen = new Set(scene.others.filter((o) => !o.new).map((o) => o.id));
    const before = state.scene && state.scene.steps.find((s) => s.id === state.at);
    state.scene = scene;
    state.known = known;
    const step = current();
    if (!hasRead(scene.place) && state.view !== 'hazards' && scene.hazards.length) { state.view = 'hazards'; state.field = null; state.since = Date.now(); }
    if (before && step && step.done && !before.done && state.field) { state.field = null; state.view = ''; state.said = ['step ' + step.id + ' is done: ' + step.facts.join('; ')]; }
    const busy = state.field || state.view;
    if (!busy && state.voided) {
      if (!flushing) state.voided = false; // else an older look may have come late
      pick();
    } else if (!busy && (!step || step.done || !step.open || !scene.order.includes(step.id) && !state.chosen)) pick();
    draw();
  }
  async function watch() {
    try {
      await look(false);
      if (queue().length) flush();
    } catch (error) {
      if (!(error instanceof Lost)) throw error;
    } finally { // whatever goes wrong, it is looked again
      setTimeout(watch, document.hidden ? 5 * lookEvery : lookEvery);
    }
  }

  // ---- steps ----
  const current = () => state.scene && state.scene.steps.find((s) => s.id === state.at);
  const pending = (id) => queue().some((item) => item.run === state.run && item.tap.step === id && item.tap.act !== 'note');
  function pick() {
    if (!state.scene) return;
    const next = state.scene.order.find((id) => !pending(id)) ?? '';
    state.chosen = false;
    if (next !== state.at) { state.at = next; state.since = Date.now(); }
  }
  const hasRead = (what) => state.read[state.person + ' ' + what];
  const nowRead = (what) => { state.read[state.person + ' ' + what] = true; };
  const cautionsRead = (step) => step.cautions.length === 0 || hasRead(step.shown);
  const settled = () => Date.now() - state.since >= settle;

  // act does what an act asks for: at once, or after a field or a question.
  function act(step, a, text) {
    if (a.live && state.offline) return;
    const tap = {act: a.name, text: text ?? ''};
    if (step) Object.assign(tap, {step: step.id, shown: step.shown, read: cautionsRead(step)});
    const takes = a.takes === 'key' ? '' : a.takes;
    if (takes && text === undefined) { state.field = {act: a, step, text: ''}; state.view = takes === 'numbers' ? 'numbers' : 'text'; return draw(); }
    if (a.sure && state.view !== 'sure') { state.field = {act: a, step, text}; state.view = 'sure'; state.since = Date.now(); return draw(); }
    send(tap, step);
  }
  function send(tap, step) {
    state.field = null;
    state.view = '';
    state.since = Date.now();
    state.chosen = false;
    push(tap);
  }

  // ---- what is drawn ----
  function h(tag, attributes, ...children) {
    const element = document.createElement(tag);
    for (const [name, value] of Object.entries(attributes || {})) {
      if (name.startsWith('on')) element.addEventListener(name.slice(2), value);
      else if (name === 'disabled') element.disabled = value;
      else if (name === 'value') element.value = value;
      else element.setAttribute(name, value);
    }
    element.append(...children.flat().filter((c) => c !== null && c !== undefined && c !== ''));
    return element;
  }
  const button = (label, onclick, attributes) => h('button', {type: 'button', onclick, ...attributes}, label);
  const clock = (ms) => new Date(ms).toISOString().slice(11, 16) + 'Z';
  const saidLine = (o) => clock(o.at_ms) + ' ' + o.person + (o.step ? ' step ' + o.step : '') + ': ' + o.what + ' (' + o.id + ')';
  const show = (view) => () => { state.view = view; state.field = null; state.since = Date.now(); draw(); };
  const back = (label) => button(label || 'Back', show(''), {id: 'back'});

  function head() {
    const scene = state.scene, waiting = queue().length;
    let net = '';
    if (state.offline) net = 'NO NETWORK' + (waiting ? ': ' + waiting + ' to be sent' : '');
    else if (state.sending || waiting) net = 'sending ' + waiting;
    return h('div', {class: 'head'},
      h('div', {}, h('h1', {}, scene && state.run ? scene.title : 'pulk'),
        scene && state.run ? h('span', {class: 'small'}, 'run ' + scene.run + ', ' + scene.procedure + ' ' + scene.revision + ', ' + scene.done + ' of ' + scene.steps.length + ' done ') : '',
        h('b', {id: 'net', class: 'small'}, net)),
      button(state.person || 'enter', show('people'), {id: 'people'}));
  }

  const acted = {done: 'done', yes: 'yes', no: 'no', read: 'reading', write: 'record', begin: 'clock started', over: 'wait over', go: 'sign-off go', stop: 'sign-off stop', note: 'note', void: 'undo', end: 'end of the run'};
  const actedText = (act, step, text) => (acted[act] ?? act) + (step ? ' at step ' + step : '') + (text ? ' "' + text + '"' : '');

  function messages() {
    const parts = [];
    for (const item of listed(refusedPrefix)) {
      parts.push(h('div', {class: 'caution refused'}, h('p', {}, h('b', {}, 'NOT DONE'), ' ' + actedText(item.act, item.step, item.text) + ' by ' + item.person + ': ' + item.what),
        item.because.length ? h('ul', {}, item.because.map((text) => h('li', {}, text))) : '', item.hint ? h('p', {}, 'Next: ' + item.hint) : '',
        button('Understood', () => { localStorage.removeItem(item.key); draw(); }, {class: 'understood'})));
    }
    const waiting = queue();
    if (waiting.length && (state.offline || waiting.some((item) => item.person !== state.person || !me()?.token)))
      parts.push(h('div', {class: 'box dashed', id: 'waiting'}, h('b', {}, 'Kept here until the site has it:'),
        h('ul', {}, waiting.map((item) => h('li', {}, actedText(item.tap.act, item.tap.step, item.tap.text) + ', ' + item.person +
          (state.people.some((p) => p.person === item.person && p.token) ? '' : ' (who has to enter)'))))));
    if (state.said.length) parts.push(h('div', {class: 'box', id: 'said'}, state.said.map((line) => h('div', {}, line))));
    return parts;
  }

  function enterView() {
    const again = state.asked || (me() && !me().token ? state.person : '');
    const person = h('input', {id: 'person', autocomplete: 'off', autocapitalize: 'none', spellcheck: 'false', value: again});
    const words = h('input', {id: 'passphrase', type: 'password', autocomplete: 'off'});
    const go = async () => {
      const who = person.value.trim();
      if (!who || !words.value) return;
      const secret = words.value;
      words.value = '';
      state.wrong = 'Opening the key of ' + who + ' …';
      draw();
      try {
        const {status, answer} = await ask('enter', {person: who, passphrase: secret}, '', 4 * answerTime); // slow by design
        state.wrong = '';
        if (status !== 200) { state.wrong = answer.what + (answer.hint ? ': ' + answer.hint : ''); state.asked = who; return draw(); }
        state.people = [...state.people.filter((p) => p.person !== who), {person: who, token: answer.token}];
        become(who);
        draw();
        state.only = answer.run;
        if (answer.run) state.run = answer.run;
        keep();
        await look(true);
        flush();
      } catch (error) {
        if (!(error instanceof Lost)) throw error;
        state.wrong = 'The site does not answer. Try again.';
        draw();
      }
    };
    for (const field of [person, words]) field.addEventListener('keydown', (event) => { if (event.key === 'Enter') go(); });
    return [h('h2', {}, again ? 'Your passphrase again' : 'Who is here?'), h('label', {for: 'person'}, 'Your code'), person, h('label', {for: 'passphrase'}, 'Your passphrase'), words,
      h('p', {id: 'wrong'}, state.wrong), h('div', {class: 'acts'}, button('Enter', go, {class: 'main', id: 'enter'}), state.people.some((p) => p.token) ? back() : '')];
  }
  function become(person) {
    state.person = person;
    state.asked = state.view = state.wrong = '';
    state.field = state.seen = state.scene = null; // what was shown was for another person
    state.known = '';
    keep();
  }

  function peopleView() {
    return [h('h2', {}, 'Who goes on?'),
      state.people.map((p) => button(p.person + (p.token ? '' : ' (passphrase again)'), async () => { become(p.person); draw(); try { await look(true); } catch { /* it is tried again */ } }, {class: 'row person'})),
      h('div', {class: 'acts'}, button('Another person', () => { state.asked = ''; state.view = 'enter'; draw(); }, {id: 'another'}),
        button(state.person + ' leaves', async () => {
          const gone = me();
          state.people = state.people.filter((p) => p !== gone);
          become(state.people[0]?.person ?? '');
          state.scene = null;
          draw();
          try { await ask('leave', {}, gone.token); } catch { /* its session ends by itself */ }
        }, {id: 'leave'}),
        state.only ? '' : button('Other run', () => { state.run = state.at = state.known = state.view = ''; state.scene = state.runs = state.seen = null; keep(); draw(); look(true).catch(() => {}); }),
        back())];
  }

  function runsView() {
    if (!state.runs) return [h('p', {}, 'Looking …')];
    if (!state.runs.length) return [h('p', {}, 'No run is open. pulk run start begins one.')];
    return [h('h2', {}, 'Which run?'), state.runs.map((r) => button(r.run + ': ' + r.title + ', ' + r.done + ' of ' + r.steps + ' done',
      () => { state.run = r.run; state.scene = null; state.known = ''; keep(); look(true).catch(() => {}); }, {class: 'row run'}))];
  }

  function hazardsView() {
    return [h('h2', {}, 'What can hurt people in this job'), state.scene.hazards.map((z) => h('div', {class: 'caution'}, h('b', {}, '! ' + z.name), ' ' + z.caution)),
      h('div', {class: 'acts'}, button('I have read this', () => { if (settled()) { nowRead(state.scene.place); state.view = ''; state.since = Date.now(); pick(); draw(); } }, {class: 'main', id: 'read'}))];
  }

  function stepView() {
    const scene = state.scene, step = current();
    if (!step) return idleView();
    const gate = step.kind === 'hold' || step.kind === 'witness';
    const parts = [h('h2', {id: 'step'}, 'Step ' + step.id + ', ' + step.number + ' of ' + scene.steps.length + ': ' + step.kind + (gate ? ' point' : '') + ', for ' + (step.role || 'anyone') +
      (step.holds ? '' : ', which ' + scene.person + ' is not'))];
    parts.push(step.cautions.map((text) => h('div', {class: 'caution'}, h('b', {}, '! CAUTION'), ' ' + text)));
    if (step.irreversible) parts.push(h('div', {class: 'caution'}, h('b', {}, '! THIS CANNOT BE UNDONE')));
    parts.push(h('p', {class: 'what'}, step.text), h('p', {}, step.asks));
    const facts = [...step.facts, ...step.signed, ...step.why.map((text) => 'not yet: ' + text),
      ...scene.faults.filter((f) => f.step === step.id).map((f) => 'nonconformance ' + f.id + ', which someone has to decide: ' + f.text)];
    if (facts.length) parts.push(h('ul', {}, facts.map((text) => h('li', {}, text))));
    if (step.ends_ms) parts.push(h('p', {class: 'clock', 'data-ends': step.ends_ms}, left(step.ends_ms)));
    parts.push(h('div', {class: 'acts', id: 'acts'}, stepActs(step)));
    return parts;
  }
  function stepActs(step) {
    if (step.done) return [];
    if (pending(step.id)) return [h('p', {}, state.offline ? 'Kept here; it is sent when the network is there.' : 'Sending …')];
    if (!cautionsRead(step)) return [button('I have read the caution', () => { if (settled()) { nowRead(step.shown); state.since = Date.now(); draw(); } }, {class: 'main', id: 'read'})];
    return step.acts.map((a, i) => {
      const off = a.live && state.offline;
      return button(a.label + (off ? ' (needs the network)' : ''), () => { if (settled()) act(step, a); }, {class: i || a.takes === 'key' ? '' : 'main', 'data-act': a.name, disabled: off} /* go stands no bigger than stop */);
    });
  }
  function idleView() {
    const scene = state.scene;
    if (scene.ended) return [h('h2', {id: 'step'}, 'The run has ended.')];
    if (scene.done === scene.steps.length) return [h('h2', {id: 'step'}, 'All ' + scene.done + ' steps are done.')];
    if (queue().length) return [h('h2', {id: 'step'}, 'Nothing more can be done before the site has what is kept here.')];
    const shut = scene.steps.find((s) => !s.done && !s.open && s.why.length);
    return [h('h2', {id: 'step'}, 'Nothing can be carried out now.'), h('ul', {},
      scene.faults.map((f) => h('li', {}, 'nonconformance ' + f.id + ', which someone has to decide: ' + f.text)),
      shut ? h('li', {}, 'step ' + shut.id + ': ' + shut.why.join('; ')) : '')];
  }
  const left = (ends) => {
    const seconds = Math.ceil((ends - Date.now() - state.ahead) / 1000);
    return seconds <= 0 ? 'The time is over.' : Math.floor(seconds / 60) + ' min ' + String(seconds % 60).padStart(2, '0') + ' s left';
  };

  function around() {
    const scene = state.scene, parts = [];
    for (const w of scene.steps.filter((s) => s.ends_ms && !s.done && s.id !== state.at))
      parts.push(button(['Wait, step ' + w.id + ': ', h('span', {class: 'clock', 'data-ends': w.ends_ms}, left(w.ends_ms))], goTo(w.id), {class: 'row wait'}));
    const news = scene.others.filter((o) => !state.seen.has(o.id));
    if (news.length) parts.push(h('div', {class: 'box', id: 'others'}, h('b', {}, 'Others did meanwhile'), h('ul', {}, news.slice(0, 4).map((o) => h('li', {}, saidLine(o)))),
      button('Seen', () => { for (const o of scene.others) state.seen.add(o.id); draw(); }, {id: 'seen'})));
    const after = scene.steps.slice(scene.steps.findIndex((s) => s.id === state.at) + 1).filter((s) => !s.done && !pending(s.id)).slice(0, 2);
    if (state.at && after.length) parts.push(h('p', {class: 'small'}, h('b', {}, 'Next: '), after.map((s) => s.id + ' ' + (s.irreversible ? 'CANNOT BE UNDONE: ' : '') + (s.cautions.length ? '(caution) ' : '') + s.text).join(' / ')));
    parts.push(h('div', {class: 'quiet'}, button('Other step', show('steps'), {id: 'steps'}),
      scene.acts.map((a) => button(a.label, a.name === 'void' ? show('undo') : () => act(a.name === 'note' ? current() : null, a), {'data-act': a.name, disabled: a.live && state.offline})),
      button('What others did', show('all others'))));
    return parts;
  }
  const goTo = (id) => () => { state.at = id; state.chosen = true; state.voided = false; state.view = ''; state.field = null; state.since = Date.now(); draw(); };

  function stepsView() {
    return [h('h2', {}, 'Steps that are open'), state.scene.steps.filter((s) => s.open && !pending(s.id)).map((s) => button(s.id + ' ' + s.text, goTo(s.id), {class: 'row'})), h('div', {class: 'acts'}, back())];
  }
  function undoView() {
    const a = state.scene.acts.find((one) => one.name === 'void');
    return [h('h2', {}, 'Which entry is not to be relied on?'), state.scene.undo.map((o) => button(saidLine(o), () => { state.field = {act: a, step: null, text: '', entry: o}; state.view = 'text'; draw(); }, {class: 'row undo'})),
      h('div', {class: 'acts'}, back())];
  }
  function othersView() {
    for (const o of state.scene.others) state.seen.add(o.id);
    return [h('h2', {}, 'What others did'), h('ul', {}, state.scene.others.map((o) => h('li', {}, saidLine(o)))), h('div', {class: 'acts'}, back())];
  }
  function sureView() {
    const {act: a, step, text} = state.field;
    return [h('h2', {}, 'Are you sure?'), h('div', {class: 'caution'}, h('b', {}, a.sure), a.takes === 'key' ? ' as ' + state.person : ''),
      h('div', {class: 'acts'}, button('Yes', () => { if (settled()) act(step, a, text); }, {id: 'sure'}), back('No'))];
  }
  function cautionAgain(step) { return step ? step.cautions.map((text) => h('div', {class: 'caution'}, h('b', {}, '! CAUTION'), ' ' + text)) : []; }
  function textView() {
    const {act: a, step, entry} = state.field;
    const single = a.takes === 'serial' || a.name === 'write';
    const input = h(single ? 'input' : 'textarea', {id: 'text', autocomplete: 'off', autocapitalize: 'none', spellcheck: 'false', value: state.field.text});
    input.addEventListener('input', () => { state.field.text = input.value; });
    const go = () => {
      const text = input.value.trim();
      if (!text) return;
      if (entry) return send({act: a.name, entry: entry.id, text}, null);
      if (a.name === 'note') return send({act: a.name, step: step ? step.id : '', text}, null);
      act(step, a, text);
    };
    if (single) input.addEventListener('keydown', (event) => { if (event.key === 'Enter') go(); });
    return [cautionAgain(step && a.name !== 'note' ? step : null), entry ? h('p', {}, saidLine(entry)) : '', h('label', {for: 'text'}, a.ask), input,
      h('div', {class: 'acts'}, button('Take it', go, {class: 'main', id: 'take'}), back())];
  }
  function numbersView() {
    const {act: a, step} = state.field;
    const typed = h('div', {class: 'typed', id: 'typed', 'aria-live': 'polite'}, state.field.text || ' ');
    const set = (text) => { state.field.text = text; typed.textContent = text || ' '; };
    const press = (k) => () => {
      const text = state.field.text;
      if (k === '<') set(text.slice(0, -1));
      else if (k === 'next') set(text && !text.endsWith(' ') ? text + ' ' : text);
      else if (text.length < 200) set(text + k);
    };
    const pad = ['7', '8', '9', '<', '4', '5', '6', '-', '1', '2', '3', '.', '0', 'next'].map((k) => button({'<': '⌫', next: 'next value'}[k] ?? k, press(k), {'data-key': k}));
    const tool = a.with ? h('input', {id: 'with', autocomplete: 'off', autocapitalize: 'none', spellcheck: 'false', value: state.tools[a.with] ?? ''}) : '';
    if (tool) tool.addEventListener('input', () => { state.tools[a.with] = tool.value; });
    const go = () => {
      const text = state.field.text.trim(), serial = tool ? tool.value.trim() : '';
      if (text) act(step, a, serial ? text + ' with ' + serial : text);
    };
    return [cautionAgain(step), h('p', {class: 'what'}, a.ask), h('p', {}, step.asks), typed, h('div', {class: 'pad'}, pad),
      tool ? [h('label', {for: 'with'}, 'Taken with ' + a.with + ': scan or type its serial'), tool] : '',
      h('div', {class: 'acts'}, button('Take it', go, {class: 'main', id: 'take'}), back())];
  }

  const views = {hazards: hazardsView, steps: stepsView, undo: undoView, 'all others': othersView, sure: sureView, text: textView, numbers: numbersView};
  const page = document.getElementById('page');
  function draw() {
    const focused = document.activeElement && document.activeElement.id;
    const typedBefore = ['person', 'passphrase'].map((id) => document.getElementById(id)?.value);
    const my = me();
    let body;
    if (state.view === 'people' && state.people.length) body = [peopleView()];
    else if (state.view === 'enter' || !my || !my.token) body = [messages(), enterView()];
    else if (!state.run) body = [runsView()];
    else if (!state.scene) body = [h('p', {}, state.offline ? 'The site does not answer.' : 'Looking …'), messages()];
    else if (views[state.view]) body = views[state.view]();
    else body = [messages(), stepView(), around()];
    page.replaceChildren(head(), ...body.flat(3).filter((part) => part !== ''));
    ['person', 'passphrase'].forEach((id, i) => { const field = document.getElementById(id); if (field && typedBefore[i]) field.value = typedBefore[i]; });
    const again = focused && document.getElementById(focused);
    if (again) again.focus();
    else document.getElementById('text')?.focus();
  }

  // ---- scanners, which type like a keyboard ----
  let burst = '', lastKey = 0;
  document.addEventListener('keydown', (event) => {
    if (/^(INPUT|TEXTAREA)$/.test(event.target.tagName)) return; // there it is typed as by hand
    // When it was typed, not when this page got to it: on a busy machine that is late, and not evenly.
    if (event.timeStamp - lastKey > burstGap) burst = '';
    lastKey = event.timeStamp;
    if (event.key.length === 1) { burst += event.key; return; }
    if (event.key !== 'Enter' || burst.length < 3) return;
    event.preventDefault();
    const text = burst;
    burst = '';
    if (state.view === 'numbers' && state.field.act.with) { state.tools[state.field.act.with] = text; return draw(); }
    const step = state.view === '' && current();
    const a = step && !step.done && !pending(step.id) && step.acts.find((one) => one.name === 'write');
    if (a && !cautionsRead(step)) state.said = ['scanned ' + text + ': read the caution first, then scan again'];
    else if (a) return act(step, a, text);
    else state.said = ['scanned ' + text + ': nothing here takes a scan; nothing was done'];
    draw();
  });

  // A fault of the page itself: said on it, where somebody sees it.
  for (const kind of ['error', 'unhandledrejection'])
    window.addEventListener(kind, (event) => {
      document.body.append(h('p', {class: 'caution', id: 'fault'}, 'Something is wrong in this page: load it again. What was tapped is kept. (' + (event.message || event.reason) + ')'));
    });
  setInterval(() => { for (const element of document.querySelectorAll('[data-ends]')) element.textContent = left(Number(element.dataset.ends)); }, 1000);
  window.addEventListener('online', () => { flush(); });
  draw();
  watch();
  flush();
})();
