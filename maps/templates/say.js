// The page's language: fills in messages and writes numbers as maps/catalogue.py does.
function languageOf({ locale, messages }) {
  const forms = new Intl.PluralRules(locale);
  const writers = new Map();
  const writerOf = (digits) => new Intl.NumberFormat(locale, {
    minimumFractionDigits: digits ?? 0, maximumFractionDigits: digits ?? 6, numberingSystem: 'latn', useGrouping: 'always',
  });
  const written = (value, digits) => {
    if (!writers.has(digits)) writers.set(digits, writerOf(digits));
    return writers.get(digits).format(value);
  };
  const shown = (value) => (typeof value === 'number' ? written(value) : String(value));

  function say(key, number, values = {}) {
    const message = messages[key];
    const text = typeof message === 'string' ? message : message[forms.select(number)] ?? message.other;
    const given = { ...values, number };
    return text.replace(/\{\{|\}\}|\{(\w+)\}/g, (whole, name) => (name ? shown(given[name]) : whole[0]));
  }

  function rate(value) {
    if (value === null) return say('numbers.no_rate');
    if (value === 0) return written(0);
    if (value < 0.005) return say('numbers.rate_under', 0.01);
    return written(value, value < 1 ? 2 : value < 10 ? 1 : 0);
  }

  return { say, rate, written };
}
