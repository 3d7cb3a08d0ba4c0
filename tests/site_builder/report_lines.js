// Reads a line for each knowledge base and each thing to be said of the last one, and writes what the page says. Joined scripts
// stand before it.
/* global kernelUnpack, kernelSession, kernelWording, kernelReport, kernelHistory, kernelTyped, kernelNearest, kernelWritten */

/** A reading with the bounds that JSON cannot write. */
function open(reading) {
  return reading.kind === "between" ? { low: -Infinity, high: Infinity, ...reading } : reading;
}

const readable = (said) => said.map((one) => ({ ...one, reading: open(one.reading) }));

let words = null;

/** The report of a session, and the sentences that are made of it. */
function reported({ given, heard, ...options }) {
  const session = new kernelSession.Session(words.compiled, { ...options, given: readable(given), heard: readable(heard) });
  const report = kernelReport.report(session, words);
  return {
    report,
    standing: kernelReport.standing(session, words),
    story: kernelHistory.story(words, report),
    origins: report.sets.map((one) => kernelHistory.origin(words, report, one)),
  };
}

/** Everything that is said of each trait. */
function said(asked) {
  return asked.map(({ trait, questions, readings }) => ({
    key: words.key(trait),
    name: words.trait(trait),
    view: words.view(trait),
    look: words.look(trait),
    unit: words.unit(trait),
    states: words.traitAt(trait).states.map((state) => words.state(trait, state)),
    questions: questions.map(([outcomes, cut, form]) => words.ask({ trait, outcomes, cut, form })),
    readings: readings.map(open).map((reading) => [words.reading(trait, reading), words.plain(trait, reading)]),
  }));
}

/** What was typed, read as an answer to a key; infinity is not in JSON. */
function typed(answers) {
  return answers.map(([family, key, answer]) => kernelTyped.readAll(words, family, { [key]: answer }));
}

const work = {
  base: ({ packed, words: packedWords }) => {
    words = new kernelWording.Words(kernelUnpack.unpack(packed), packedWords);
    return null;
  },
  reported,
  said,
  typed,
  named: ({ slots, parts, views, variants }) => [
    slots.map((one) => words.slot(one)),
    parts.map((one) => words.part(one)),
    views.map((one) => [words.viewName(one), words.where(one)]),
    variants.map((one) => words.variant(one)),
  ],
  nearest: (pairs) => pairs.map(([name, names]) => kernelNearest.nearest(name, names)),
  written: (numbers) =>
    numbers.map((one) => [
      ...[0, 1, 3, 6, 12].map((digits) => kernelWritten.fixed(one, digits)),
      ...[2, 4, 5, 6].map((digits) => kernelWritten.general(one, digits)),
      kernelWording.percent(one),
    ]),
  sorted: (texts) => kernelWritten.sorted(texts),
  lowered: (texts) => texts.map((one) => kernelWording.lowerFirst(one)),
  confident: (rows) => rows.map(([shares, settled]) => kernelWording.confidence(shares, settled)),
};

for (const line of require("node:fs").readFileSync(0, "utf-8").split("\n")) {
  if (!line) continue;
  const [what, value] = JSON.parse(line);
  console.log(JSON.stringify(work[what](value)));
}
