// A view that hears its kernel, however long its script took to load.

// anywidget 0.11 gives a script two seconds. Where a busy page needs longer it shows the view all the
// same, but passes on nothing more of what the kernel sends. So messages are taken from the channel itself,
// as every other widget takes them.
export function hearAlways(model) {
  const real = behind(model);
  if (!real?.comm) return; // a saved notebook
  const { _handle_comm_msg: take } = Object.getPrototypeOf(real.constructor.prototype);
  real.comm.on_msg(message => take.call(real, message));
}

// What a view is given stands before the model; an event brings the model itself.
function behind(model) {
  let real = null;
  const note = each => {
    real = each;
  };
  model.on("change:_heard", note);
  model.set("_heard", {});
  model.off("change:_heard", note);
  return real;
}
