// The week slider, its buttons and play.
const slider = document.getElementById('week');
const playButton = document.getElementById('play');
const backButton = document.getElementById('week-back');
const onButton = document.getElementById('week-on');
const lastWeek = data.weeks.length - 1;
const moveCurve = drawCurve();
let currentWeek = lastWeek;
let timer = null;

function setWeek(week) {
  const [number, span, sentence] = data.weeks[week];
  currentWeek = week;
  document.body.dataset.shading = evidenceOf(week) ? 'evidence' : 'classes';
  slider.value = String(week);
  slider.setAttribute('aria-valuetext', say('map_script.week_span', number, { span }));
  document.getElementById('week-number').textContent = say('map_script.week', number);
  document.getElementById('week-span').textContent = span;
  document.getElementById('week-sentence').textContent = sentence;
  backButton.disabled = week === 0;
  onButton.disabled = week === lastWeek;
  drawWeek(week);
  moveCurve(week);
  showDetail();
  if (timer === null) remember(false);
}

function stop() {
  if (timer === null) return;
  clearInterval(timer);
  timer = null;
  remember(false);
  playButton.textContent = say('map_script.play');
  playButton.setAttribute('aria-pressed', 'false');
}

function play() {
  if (currentWeek === lastWeek) setWeek(0);
  playButton.textContent = say('map_script.pause');
  playButton.setAttribute('aria-pressed', 'true');
  timer = setInterval(() => {
    setWeek(currentWeek + 1);
    if (currentWeek === lastWeek) stop();
  }, 900);
}

slider.addEventListener('input', () => { stop(); setWeek(Number(slider.value)); });
backButton.addEventListener('click', () => { stop(); setWeek(currentWeek - 1); });
onButton.addEventListener('click', () => { stop(); setWeek(currentWeek + 1); });
playButton.addEventListener('click', () => (timer === null ? play() : stop()));
playButton.disabled = lastWeek === 0;
slider.disabled = lastWeek === 0;
