// Reads lines of {packed, cases} and writes for each what the kernel of the page makes of them. Joined scripts stand before it.
/* global kernelUnpack, kernelSession, kernelDoubts */

const plainQuestion = (one) => [one.trait, one.outcomes, one.cut, one.form];
const plainProposal = (one) => one && [plainQuestion(one.question), one.bits, one.effort];

/** Every array of a knowledge base, as nested lists; what is not a number is null. */
function arrays(compiled) {
  const row = ({ columns, data }, i) => [...data.subarray(i * columns, (i + 1) * columns)];
  const rows = (matrix) => Array.from({ length: matrix.rows }, (_, i) => row(matrix, i));
  const plain = (value) => (ArrayBuffer.isView(value) ? [...value] : value?.data ? rows(value) : value);
  const record = (one, left) => {
    const kept = Object.entries(one).filter(([key]) => !left.includes(key));
    return Object.fromEntries(kept.map(([key, value]) => [key, plain(value)]));
  };
  return {
    ...record(compiled, ["slots", "traits", "candidates"]),
    slots: compiled.slots.map((slot) => record(slot, ["rows"])),
    traits: compiled.traits.map((trait) => record(trait, ["look", "alike"])),
  };
}

/** What one answers, believes and is asked. */
function found(session, all, asked) {
  const { belief } = session;
  const first = {
    probability: [...belief.probability],
    factor: belief.factor.map((one) => [...one]),
    plausible: belief.plausible,
    open: session.openTraits,
    questions: session.questions.map(plainQuestion),
    news: [...session.news(session.questions)],
    settled: session.settled,
    doubts: session.doubts.map((one) => [one.trait, one.look, one.chance, one.usual, one.looksWrong]),
  };
  return { ...first, ...(asked ? { toAsk: plainProposal(session.toAsk) } : {}), ...(all ? rest(session) : {}) };
}

function rest(session) {
  const { compiled, belief } = session;
  return {
    proposals: session.proposals.map(plainProposal),
    next: plainProposal(session.next),
    lookAgain: plainProposal(session.lookAgain),
    toAsk: plainProposal(session.toAsk),
    doubtfulSwap: plainProposal(session.doubtfulSwap),
    secondLooks: session.secondLooks.map(plainProposal),
    variants: session.variants,
    positions: session.positions,
    origins: [...session.origins],
    leading: session.leading,
    inseparable: session.inseparable,
    wantedViews: session.wantedViews,
    twins: Object.fromEntries(session.twins),
    toldWrong: session.evidence.map((one) => kernelDoubts.toldWrong(compiled, belief, one)),
  };
}

/** Answers with the bounds that JSON has no numbers for. */
function readable(said) {
  return said.map(({ reading, ...one }) => {
    const { low = -Infinity, high = Infinity } = reading;
    return { ...one, reading: reading.kind === "between" ? { kind: "between", low, high } : reading };
  });
}

for (const line of require("node:fs").readFileSync(0, "utf-8").split("\n")) {
  if (!line) continue;
  const { packed, cases, whole } = JSON.parse(line);
  const compiled = kernelUnpack.unpack(packed);
  const results = cases.map(({ given, heard, all, asked, ...options }) => {
    const session = new kernelSession.Session(compiled, { ...options, given: readable(given), heard: readable(heard) });
    return found(session, all, asked);
  });
  console.log(JSON.stringify({ results, arrays: whole ? arrays(compiled) : null }));
}
