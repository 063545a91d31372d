// In the audio thread: blocks of 128 become frames of a tenth of a second, each with the number of its first sample.
// A jump of that number is left as it is: whoever gets the frames sees that something is missing.

class Taker extends AudioWorkletProcessor {
  constructor() {
    super();
    this.size = Math.round(sampleRate / 10);
    this.fresh();
    this.keeper = null;
    this.running = true;
    this.begun = false;
    this.port.onmessage = ({ data }) => {
      if (data.keeper) this.keeper = data.keeper;
      if (data.stop) { this.running = false; this.flush(); this.keeper?.postMessage({ over: true }); }
    };
  }

  fresh() {
    this.samples = new Int16Array(this.size);
    this.count = 0;
    this.sum = 0;
    this.peak = 0;
  }

  flush() {
    if (!this.count || !this.keeper) return;
    const samples = this.samples.slice(0, this.count);
    this.begun = true;
    this.keeper.postMessage({ first: this.first, at: this.at, samples }, [samples.buffer]);
    this.port.postMessage({ rms: Math.sqrt(this.sum / this.count), peak: this.peak });
    this.fresh();
  }

  process([input]) {
    if (!this.running) return false;
    const sound = input[0];
    if (!sound || !this.keeper) return true;
    if (this.count && currentFrame !== this.first + this.count) {
      if (this.begun) this.flush();
      else this.fresh(); // the first block often comes alone, before the microphone gives any sound
    }
    if (!this.count) {
      this.first = currentFrame;
      this.at = Date.now() - (1000 * sound.length) / sampleRate;
    }
    for (let i = 0; i < sound.length; i++) {
      const one = Math.max(-1, Math.min(1, sound[i]));
      if (this.count === this.size) {
        this.flush();
        this.first = currentFrame + i;
        this.at = Date.now() - (1000 * (sound.length - i)) / sampleRate;
      }
      this.samples[this.count++] = Math.round(one * 32767);
      this.sum += one * one;
      this.peak = Math.max(this.peak, Math.abs(one));
    }
    return true;
  }
}

registerProcessor("taker", Taker);
