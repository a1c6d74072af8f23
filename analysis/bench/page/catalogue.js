// What can be picked: the shop's lists as last heard from the server, and what was typed here.

const EMPTY = { workers: [], products: [], causes: [], batches: [], next_batch: "001" };
const PLAIN = {
  variant: "",
  after: [],
  wait_seconds: 0,
  seconds: null,
  usual_seconds: null,
  activity_hint: "operation",
  rushed_below_seconds: null,
};
const NUMBER = /^[0-9]{1,9}$/; // what the server counts on from, too (choices.py)
const union = (...lists) => [...new Set(lists.flat())].filter((word) => word !== "");

export class Catalogue {
  constructor(lists, state) {
    this.lists = { ...EMPTY, ...lists };
    this.typed = state.typed;
    this.local = state.batches;
    this.recentCauses = state.causes;
  }

  get products() {
    return union(
      this.lists.products.map((p) => p.product),
      this.typed.products,
    );
  }

  get workers() {
    return union(this.lists.workers, this.typed.workers);
  }

  get causes() {
    return union(this.recentCauses, this.lists.causes);
  }

  listed(product) {
    return this.lists.products.find((p) => p.product === product);
  }

  variants(product) {
    return union(this.listed(product)?.variants || [], this.typed.variants[product] || []);
  }

  batchSize(product) {
    return this.listed(product)?.batch_size || 25;
  }

  /** The route of a product, for one variant or for a mixed stack (""), in the lists' order. */
  operations(product, variant = "") {
    const rows = this.listed(product)?.operations || [];
    const fitting = rows.filter((row) => !row.variant || !variant || row.variant === variant);
    const typed = (this.typed.operations[product] || []).map((operation) => ({ operation }));
    const byName = new Map();
    for (const row of [...fitting, ...typed]) {
      const closer = row.variant && row.variant === variant;
      if (closer || !byName.has(row.operation)) byName.set(row.operation, { ...PLAIN, ...row });
    }
    return [...byName.values()];
  }

  /** What finishes a piece of a variant: by the route, else the last that is known. */
  lastOperation(product, variant = "") {
    const { last_operations: byVariant = {}, last_operation: usual } = this.listed(product) || {};
    return byVariant[variant] || usual || this.operations(product, variant).at(-1)?.operation;
  }

  operation(product, operation, variant = "") {
    const found = this.operations(product, variant).find((row) => row.operation === operation);
    return found || { ...PLAIN, operation };
  }

  /** Open batches of a product, newest first: the server's, and those numbered on this phone. */
  batches(product) {
    const local = this.local.filter((b) => b.product === product);
    const names = local.map((b) => b.batch);
    const heard = this.lists.batches.filter((b) => b.product === product);
    const others = heard.filter((b) => !names.includes(b.batch));
    const all = [
      ...local.map((b) => ({ ...heard.find((h) => h.batch === b.batch), ...b })),
      ...others,
    ];
    // By their numbers: 1000 comes after 999.
    const newestFirst = (a, b) => b.batch.localeCompare(a.batch, "en", { numeric: true });
    return all.filter((b) => b.open !== false).sort(newestFirst);
  }

  batch(product, name) {
    return this.batches(product).find((b) => b.batch === name);
  }

  /** Pieces of a batch that pass an operation: those of one variant where only that one does. */
  pieces(batch, product, operation) {
    const rows = (this.listed(product)?.operations || []).filter((r) => r.operation === operation);
    if (!rows.length || rows.some((row) => !row.variant)) return quantity(batch);
    return rows.reduce((sum, row) => sum + quantity(batch, row.variant), 0);
  }

  /** Pieces beyond which there are more than the batch has; the usual size where nobody said it. */
  most(batch, product, operation) {
    const said = this.pieces(batch, product, operation);
    return batch?.told === false ? Math.max(said, this.batchSize(product)) : said;
  }

  /** The next free number; as wide as the shop's, so that names sort as they were made. */
  get nextBatch() {
    const offered = this.lists.next_batch || "001";
    const numbers = this.local.map((b) => b.batch).filter((name) => NUMBER.test(name)).map(Number);
    const next = Math.max(Number(offered) || 1, ...numbers.map((n) => n + 1));
    return String(next).padStart(offered.length, "0");
  }
}

/** Pieces of a batch, all variants together or one; 0 where nobody said. */
export function quantity(batch, variant = null) {
  const quantities = batch?.quantities || {};
  if (variant !== null) return quantities[variant] || 0;
  return Object.values(quantities).reduce((sum, n) => sum + n, 0);
}

/** `total` pieces over the variants as evenly as whole pieces allow; "" where there are none. */
export function spread(total, variants) {
  if (!variants.length) return { "": total };
  const each = Math.floor(total / variants.length);
  const rest = total % variants.length;
  return Object.fromEntries(variants.map((name, k) => [name, each + (k < rest ? 1 : 0)]));
}
