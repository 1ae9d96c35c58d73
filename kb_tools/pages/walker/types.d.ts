/** Shapes that the walker's files share. Read by the type check only; no page loads it. */

interface Window {
  faultTrees: any;
}

/** Rendered Markdown as data: a text, or a tag with attributes and children. */
type Block = string | [string, ...unknown[]];

interface Way {
  via: "answer" | "unsure" | "band" | "then" | "cannot" | "not_cured" | "link" | "cured";
  label: string;
  say?: string | null;
  to?: string;
  from?: number | null;
  below?: number | null;
  odds: number;
  onward?: number;
  isolates: string[];
  confirms: string[];
  restores: string[];
  stop_use?: Block[] | null;
}

interface Step {
  n: number;
  kind: "check" | "measure" | "do" | "fix" | "escalate" | "done" | "link";
  text: string;
  say?: string | null;
  how?: Block[] | null;
  who: "anyone" | "technician";
  minutes: number;
  assumed: boolean;
  wait: number;
  tools: string[];
  spares: string[];
  looks_at: string[];
  picture?: { src: string; text: string } | null;
  cautions: string[];
  exposes: string[];
  works_live: string[];
  live_because?: string | null;
  controls?: string | null;
  source?: Block[] | null;
  confirm?: Block[] | null;
  unit?: string | null;
  units?: [string, number, number][];
  plausible?: [number, number] | null;
  ways: Way[];
  isolates?: string[];
  restores?: string[];
  mass: number;
  stop?: number;
  cures?: number;
  left: number;
  worst: number;
  waiting: number;
  proof?: string | null;
  put_back?: Block[] | null;
  bring?: string[];
  leave?: Block[] | null;
  stop_use?: Block[] | null;
  link?: { tree: string; step: string } | null;
}

interface Proof {
  title: string;
  minutes: number;
  people: number | null;
  cautions: string[];
  items: { item: Block[]; optional: boolean }[];
}

interface Tree {
  id: string;
  title: string;
  applies_to?: string | null;
  stop_use?: Block[] | null;
  start: string;
  tag: number;
  fingerprint: number;
  cautions: string[];
  caution_texts: Record<string, { signal: string; hazard: string | null; text: Block[]; consequence: Block[]; avoid: Block[] }>;
  hazards: Record<string, { name: string; how_isolated: Block[]; put_back: Block[]; confirm: boolean }>;
  tools: Record<string, string>;
  spares: Record<string, { name: string; price: number | null }>;
  proofs: Record<string, Proof>;
  parts: Record<string, string>;
  map?: string;
  steps: Record<string, Step>;
}

interface TrailEntry {
  tree: string;
  step: string;
  value: string | number;
  answer: string;
}

/** Advice to stop using the chair, and the step at which it was given. */
interface Advice {
  tree: string;
  step: string;
  text: string;
}

/** How a walk ended; `proven` once its proof was passed. */
interface Ended {
  how: "cured" | "escalate" | "done";
  proven: boolean;
}

interface WalkState {
  tree: string;
  step: string;
  kind: string;
  trail: TrailEntry[];
  causes: { id: string; odds: number }[];
  minutes: { expected: number; worst: number; waiting: number };
  isolated: string[];
  stop_use: string | null;
  advice: Advice[];
  ended: Ended | null;
}

interface StoredWalk {
  version: number;
  first: string;
  trees: Record<string, number>;
  trail: TrailEntry[];
  acks: unknown[];
}

/** One answer; `pick` counts the step's choices from 0. */
interface Picked {
  tree: string;
  step: string;
  value: string | number;
  pick: number;
}

/** Where a row of answers leads; `since` is the first answer in the present tree. */
interface Stand {
  tree: Tree;
  id: string;
  step: Step;
  isolated: string[];
  advice: Advice[];
  since: number;
  entered: string[];
  cured: boolean;
}

/** Where a row of answers leads, and the causes then, once somebody asked for them. */
interface Reached {
  picks: Picked[];
  stand: Stand;
  causes: { id: string; odds: number }[] | null;
}

/** A caution that was read, and after how many answers. */
interface Ack {
  at: number;
  tree: string;
  step: string;
  caution: string;
}

/** One run through the trees; see walk.js. */
interface Walk {
  state(): WalkState;
  answer(step: string, value: string | number): WalkState;
  peek(value: string | number): WalkState;
  back(): WalkState;
  jump(facts: Record<string, string | number>): WalkState;
  known(facts: Record<string, string | number>): { id: string; odds: number }[];
  acknowledge(caution: string): WalkState;
  cautionsDue(): string[];
  asksAgain(): string[];
  stillIsolated(hazard: string): WalkState;
  isolatedBy(hazard: string): (TrailEntry & { at: number }) | null;
  code(): string;
  link(): string;
  toJSON(): StoredWalk;
}

/** One answered step as the visit record keeps it. */
interface RecordStep {
  tree: string;
  step: string;
  kind: Step["kind"];
  text: string;
  at: string;
  answer: string;
  reading: string | null;
  assumed: boolean;
  kept: boolean;
  stated: boolean;
}

type ProofResult = "passed" | "failed" | "not fitted" | null;

interface ProofRecord {
  id: string;
  title: string;
  items: { item: string; result: ProofResult }[];
}

interface FixRecord {
  tree: string;
  step: string;
  text: string;
  at: string;
  spares: { id: string; name: string }[];
  proof: ProofRecord | null;
  cured: boolean;
}

/** The working form of a visit, as stored on the device. */
interface Visit {
  format: string;
  version: number;
  id: string;
  library: { key: string; title: string; edition: string };
  fields: Record<string, string>;
  mode: "technician" | "desk";
  caller: "user" | "carer" | "technician" | null;
  found_seen: boolean;
  desk_told: boolean;
  started: string;
  updated: string;
  ended: string | null;
  exported: string | null;
  trees: { tree: string; title: string; fingerprint: number }[];
  start: string;
  steps: RecordStep[];
  withdrawn: (RecordStep & { withdrawn: string })[];
  acks: { kind: "caution" | "isolation"; id: string; text: string; tree: string; step: string; at: string }[];
  desk: { ask: string; answer: string; bad: boolean; say: string; stop_use: string | null; at: string }[];
  fixes: FixRecord[];
  proof: ({ tree: string; step: string } & ProofRecord) | null;
  /** Hazards that an answer isolated which was taken back since: at the chair they still are. */
  undone: string[];
  walk: StoredWalk;
  timer: { tree: string; step: string; minutes: number; start: number } | null;
  stop_use: string[];
  not_asked: string[];
  reached: { tree: string; step: string; kind: string; text: string } | null;
  searches: string[];
  left: string | null;
  outcome: string | null;
  code: string;
}

interface Store {
  kept: boolean;
  onrefused: () => void;
  open(key: string): Promise<boolean>;
  all(): any[];
  put(visit: Visit): void;
  remove(id: string): void;
  settled(): Promise<void>;
}

interface Gate {
  ask(): void;
  met(): void;
  hold(node: any, also?: () => boolean): any;
  look(): void;
  open(): boolean;
  watch(one: () => void): void;
}

interface DeskQuestion {
  ask: string;
  bad: string;
  say: string;
  stop_use: unknown;
}

/** One open walk; see view_session.js. */
interface Session {
  readonly walk: Walk;
  readonly visit: Visit;
  notes: string[];
  readonly facts: Record<string, string | number>;
  knowing: boolean;
  readonly state: WalkState;
  readonly tree: Tree;
  readonly step: Step;
  readonly proven: boolean;
  readonly safe: boolean;
  asked(entry: RecordStep): string;
  told(entry: RecordStep): string;
  label(way: Way): string;
  named(ids: string[]): string;
  doubted(): string[];
  isolated(): string[];
  restores(): string[];
  results(): ProofResult[];
  proof(results: ProofResult[]): ProofRecord;
  stopUse(): string[];
  answer(value: string | number, assumed?: boolean): void;
  tell(facts: Record<string, string | number>): void;
  causes(): { id: string; odds: number }[];
  back(): Promise<void>;
  reopen(at: number): Promise<void>;
  acknowledge(kind: "caution" | "isolation", id: string, text: string): void;
  save(): void;
  link(): string | null;
}

/** What the screens share; each function is described where it is written. */
interface View {
  h(kind: string, ...given: any[]): any;
  blocks(list: unknown): any[];
  plain(list: unknown): string;
  fill(template: string, values: Record<string, any>): string;
  icon(sign: string): any;
  root(): string;
  clock(when: string | number): string;
  minutes(value: number): string;
  odds(share: number): string;
  gate(before?: Gate): Gate;
  field(name: string, value: string, changed: (value: string) => void, long?: boolean): any;
  button(ft: string | null, kind: string, label: any, click: () => void, more?: Record<string, any>): any;
  box(title: string, ...content: any[]): any;
  ok(text: string): any;
  unit(name?: string | null): string;
  doubt(step: Step, text: string): string;
  way(session: Session, ft: string, label: any, value: string, assumed?: boolean): any;
  ask(text: string, ft: string, label: string, click: () => void): any;
  choiceOf(name: string, title: string, values: [string, string][], now: string | null, chosen: (value: string) => void, shut?: string[]): any;
  visitField(of: { visit: Visit; save: () => void }, name: string): any;
  deskAsk(session: Session): any;
  shut(opener?: any, body?: any): void;
  panel(ft: string | null, label: string, content: () => any): { opener: any; body: any };
  session: {
    begin(tree: string, mode: Visit["mode"]): Promise<Session>;
    fromVisit(visit: Visit): Promise<Session>;
    fromCode(given: string): Promise<Session>;
  };
  stepSection(session: Session): any;
  stepName(session: Session, id: string): string;
  likely(session: Session, cause: { id: string; odds: number }): string;
  putBack(session: Session): any;
  cautions(session: Session, ids: string[], gate: Gate, label: string): any;
  choices(session: Session, gate: Gate): any;
  unsure(session: Session, gate: Gate, label: string): any;
  measure(session: Session, gate: Gate): any;
  fix(session: Session, gate: Gate): any;
  done(session: Session, gate: Gate): any;
  escalate(session: Session, gate: Gate): any;
  closing(session: Session, aside?: boolean): any;
  strip(session: Session): any[];
  standing(session: Session): any;
  trail(session: Session): any;
  assumed(session: Session): any[];
  guesses(session: Session): { at: number; text: string }[];
  known(session: Session): any;
  found(session: Session, onward: () => void): any;
  deskFirst(session: Session): any;
  technicianOnly(session: Session): any;
  handOver(session: Session, kind: string): any[];
  recordScreen(visit: Visit, ways: { back: (() => void) | null; close: () => void }): any;
  download(name: string, data: unknown): void;
  startPanel(message: string): any;
  problem(error: any): string;
  shell: {
    act(change: () => any): Promise<void>;
    say(text: string): void;
    step(move: boolean): void;
    open(make: () => Promise<Session>): Promise<void>;
    page(message: string): void;
    record(visit?: Visit): void;
    copy(text: string): Promise<void>;
    every(tick: () => void): void;
    mark(): void;
    strip(): void;
    focusNext(from: any): void;
    openFound(): void;
    closeFirst(): void;
  };
}

/** What `kb/visits.js` says: items as id and name; of each symptom the chance that an item is needed, and the sets that cures need. */
interface DayData {
  items: [string, string][];
  trees: Record<string, { needs: [number, number][]; cures: [number, number[]][]; least?: boolean }>;
}

interface DayList {
  items: { item: number; chance: number; packed: boolean }[];
  cured: number;
  all: number;
  reaches: boolean;
  proven: boolean;
  least: boolean;
}

/** A word of a text for the finder; `light`: of no weight of its own. */
interface Token {
  stem: string;
  said: string;
  light: boolean;
}

/** A term that the finder looks for; `text`: the words as they were typed. */
interface Wanted {
  term: string;
  weight: number;
  text: string;
}

/** Turns of words of one meaning, by their first word. */
type Groups = Map<string, { parts: string[]; group: string }[]>;

interface FaultTrees {
  takeAlong(data: DayData, symptoms: string[]): DayList;
  words: any;
  data: { index?: any; trees: Record<string, Tree>; visits?: any; pages?: any };
  load(tree: string): Promise<Tree>;
  start(tree: string): Walk;
  resume(code: string): Promise<Walk>;
  restore(stored: unknown): Promise<Walk>;
  wholeIndex(): Promise<any>;
  fetchScript(name: string, outcome: () => any): Promise<any>;
  today(tree: string, step?: string): { tree: string; step: string };
  treeOf(id: string): Tree;
  stepOf(at: { tree: string; step: string }): Step;
  sameStep(one: any, other: any): boolean;
  root(): string;
  problem(code: string, message: string): Error & { code: string };
  reading(step: Step, given: string | number): { value: number; pick: number; answer: string };
  bandOf(step: Step, value: string | number): number;
  stand: {
    choices(step: Step): Way[];
    reach(first: string, picks: Picked[]): Reached;
    endOf(stand: Stand): Ended | null;
    plain(blocks: unknown): string;
    causes(stand: Stand, picks: Picked[], known?: Map<string, number>): { id: string; odds: number }[];
  };
  walkFrom(first: string, picks: Picked[], acks?: Ack[]): Walk;
  code: {
    pack(digits: [number, number][]): bigint;
    write(number: bigint, shape: number, tag: number): string;
    read(text: unknown): { number: bigint; shape: number; tag: number };
    fold(fingerprints: number[]): number;
  };
  findWords: {
    into<K, V>(map: Map<K, V>, key: K, make: () => V): V;
    letters(word: string): number;
    nearest(spelt: [string, number][][], term: string): [string, number][];
    readGroups(lists: string[][]): Groups;
    split(text: string): Token[];
    terms(tokens: Token[], groups: Groups): Wanted[];
  };
  find(text: string, limit?: number): { tree: string; title: string; score: number; matched: string[] }[];
  findPages(text: string, limit: number): { tree: string; title: string; score: number; matched: string[] }[];
  prepare(): Promise<void>;
  store: Store;
  record: any;
  desk: {
    untrained(visit: Visit): boolean;
    mayDo(visit: Visit, step: Step): boolean;
    beside(visit: Visit, step: Step): string;
    question(visit: Visit, step: Step): string;
    choice(visit: Visit, way: Way): string;
    questions(): DeskQuestion[];
    asked(visit: Visit, ask: string): Visit["desk"][number] | null;
    answer(visit: Visit, question: DeskQuestion, given: string): void;
    open(visit: Visit): string[];
  };
  view: View;
  /** Whether a service worker lies beside the pages: only `kb build` writes one. */
  installable?: boolean;
  /** A count in words, in the form that the page's language has for the number. */
  counted(forms: Record<string, string>, n: number): string;
  /** Whether this is the pocket file, beside which nothing lies. */
  pocket?: boolean;
  /** Where the data is unpacked first (the pocket file): resolves when it is there. */
  ready?: Promise<unknown>;
  /** Pictures that are carried as data, by their path. */
  pictures?: Record<string, string>;
}
