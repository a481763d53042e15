// @ts-check
import { asOptions, labelled, otherwiseOf, otherwiseSelect, otherwiseWords, select } from "./step-fields.js";

/** What holds for a whole sequence: its servo, where there are several, and what becomes of it when the servo stops itself. */
export class Head {
  /** @param {HTMLElement} host @param {import("./step-fields.js").Known} known */
  constructor(host, known) {
    this.host = host;
    this.known = known;
    this.shape = "";
    this.onFault = select([]);
    this.servo = select([]);
    /** @type {import("../build-view/draft.js").Draft|null} */
    this.draft = null;
  }

  /** @param {import("../build-view/draft.js").Draft} draft */
  show(draft) {
    const names = this.known.names();
    const servos = this.known.servos();
    const shape = `${names.join()}|${servos.join()}`;
    if (shape !== this.shape || draft !== this.draft) {
      this.shape = shape;
      this.draft = draft;
      this.make(draft, names, servos);
    }
    if (document.activeElement !== this.onFault) this.onFault.value = otherwiseWords(draft.doc.on_fault);
    if (document.activeElement !== this.servo) this.servo.value = draft.doc.servo ?? "";
  }

  /** @param {import("../build-view/draft.js").Draft} draft @param {string[]} names @param {string[]} servos */
  make(draft, names, servos) {
    const onFault = otherwiseSelect("what is left for it", names);
    onFault.addEventListener("change", () => draft.edit(["on_fault"], otherwiseOf(onFault.value)));
    const servo = select([["", "whichever runs it"], ...asOptions(servos)]);
    servo.addEventListener("change", () => draft.edit(["servo"], servo.value || undefined));
    this.onFault = onFault;
    this.servo = servo;
    this.host.replaceChildren(
      labelled("If the servo stops itself", onFault), ...(servos.length > 1 ? [labelled("Servo", servo)] : []));
  }
}
