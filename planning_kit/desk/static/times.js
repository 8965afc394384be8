// Times as they are read: phase elapsed time, and the day and minute of UTC.

const MINUTE_MS = 60000;
const DAY_MS = 86400000;

export function pet(minutes) {
  return hoursMinutes(Math.floor(minutes + 0.5));
}

// A clock has not struck the minute before it is over; down is also the safe side of all that must stand, is
// latest or left.
export function petFloor(minutes) {
  return hoursMinutes(down(minutes));
}

// The safe side of all that may be lifted.
export function petCeil(minutes) {
  return hoursMinutes(up(minutes));
}

export function down(number) {
  return Math.floor(number + 1e-6);
}

export function up(number) {
  return Math.ceil(number - 1e-6);
}

// A clock with its seconds. Before PET 0 it counts down to it.
export function petSeconds(minutes) {
  const seconds = Math.floor(minutes * 60 + 1e-6);
  const size = Math.abs(seconds);
  return `${seconds < 0 ? "−" : ""}${hoursMinutes(Math.floor(size / 60))}:${twoDigits(size % 60)}`;
}

function hoursMinutes(whole) {
  const size = Math.abs(whole);
  return `${whole < 0 ? "−" : ""}${Math.floor(size / 60)}:${twoDigits(size % 60)}`;
}

function twoDigits(number) {
  return String(number).padStart(2, "0");
}

export function gmt(ms) {
  const moment = new Date(ms + MINUTE_MS / 2);
  const first = Date.UTC(moment.getUTCFullYear(), 0, 1);
  const day = Math.floor((moment.getTime() - first) / DAY_MS) + 1;
  return `${String(day).padStart(3, "0")}/${hourMinute(moment.getTime())}`;
}

// A clock: the second that is running, never the next one.
export function gmtSeconds(ms) {
  const whole = Math.floor(ms / 1000) * 1000;
  return `${gmt(Math.floor(whole / MINUTE_MS) * MINUTE_MS)}:${twoDigits(new Date(whole).getUTCSeconds())}`;
}

// The hour and minute of UTC that a moment lies in.
export function hourMinute(ms) {
  return new Date(ms).toISOString().slice(11, 16);
}

// A moment of UTC as a field for date and time takes it, and back; null: nothing is typed, or no date.
export function momentText(ms) {
  return new Date(ms).toISOString().slice(0, 16);
}

export function momentMs(text) {
  const ms = Date.parse(`${text}Z`);
  return Number.isNaN(ms) ? null : ms;
}
