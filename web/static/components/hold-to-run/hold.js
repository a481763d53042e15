// @ts-check
/** The service lets a jog run for 300 ms after the last word: three repeats fit, one may be lost. */
const REPEAT_MS = 100;

/** Repeats the jog while held, and says when it is over. */
export class Hold {
  /** @param {(speed: number) => boolean} jog false when there is no socket @param {() => void} stop */
  constructor(jog, stop) {
    this.jog = jog;
    this.stop = stop;
    this.speed = 0;
    this.timer = 0;
  }

  get running() {
    return this.timer !== 0;
  }

  /** @param {number} speed */
  begin(speed) {
    this.end();
    this.speed = speed;
    if (!this.jog(speed)) return;
    this.timer = setInterval(() => {
      if (!this.jog(this.speed)) this.end();
    }, REPEAT_MS);
  }

  end() {
    if (!this.running) return;
    clearInterval(this.timer);
    this.timer = 0;
    this.stop();
  }
}
