// One servo wire of a bench, with the truth about it. Include after `timescale
// and after `define US, the simulator's time units in a microsecond.
//
// The stimulus says which edges bound a pulse that a decoder must accept
// (rises, falls); the instants are taken from the wire as the simulator sees it.
module servo_wire #(parameter NAME = "?", parameter [0:0] ACTIVE = 1'b1,
                    parameter real FIRST = 3000, parameter real PERIOD = 22000,
                    parameter TOLD = 1)        // 0: the truth is told elsewhere
                   (output reg w);
  reg  rises, falls;
  real rose, due;                 // due: the leading edge of the next frame
  wire on = (w === ACTIVE);

  initial begin
    w = !ACTIVE;
    rises = 0;
    falls = 0;
    due = FIRST * `US;
    if (TOLD && ACTIVE) $display("channel,%0s,servo,high", NAME);
    if (TOLD && !ACTIVE) $display("channel,%0s,servo,low", NAME);
    if (TOLD) $display("period,%0s,%0.3f", NAME, PERIOD * `US);
  end

  always @(posedge on) if (rises) begin
    rose = $realtime;
    rises = 0;
  end
  always @(negedge on) if (falls) begin
    if (TOLD) $display("pulse,%0s,%0.3f,%0.3f", NAME, rose, $realtime - rose);
    falls = 0;
  end

  task rise; begin rises = 1; w = ACTIVE; end endtask
  task fall; begin falls = 1; w = !ACTIVE; end endtask
  // Levels and waits that bound no accepted pulse. Waits in microseconds.
  task level(input on); w = on ? ACTIVE : !ACTIVE; endtask
  task hold(input real us); #(us * `US); endtask

  // A pulse of the given microseconds, at once.
  task now(input real us); begin rise; hold(us); fall; end endtask
  // Waits for the next frame.
  task frame; begin #(due - $realtime) due = due + PERIOD * `US; end endtask
  // A pulse in the next frame.
  task servo(input real us); begin frame; now(us); end endtask
  task rest(input integer frames, input real us);
    repeat (frames) servo(us);
  endtask
  // A move of so many frames that changes each of them alike.
  task move(input integer frames, input real from, input real to);
    integer i;
    for (i = 1; i <= frames; i = i + 1) servo(from + (to - from) * i / frames);
  endtask
  // A mark within the frame, so many microseconds after its leading edge.
  task runt(input real us); begin level(1); hold(us); level(0); end endtask

  task fault(input [8*24-1:0] kind, input real from, input real to, input integer count);
    $display("fault,%0s,%0s,%0.3f,%0.3f,%0d", kind, NAME, from, to, count);
  endtask
  // Leaves frames out. The frame after them comes on the grid.
  task drop(input integer frames); begin
    fault("dropped-frame", due, due + frames * PERIOD * `US, frames);
    due = due + frames * PERIOD * `US;
  end endtask
  task lose(input integer frames); begin
    fault("signal-loss", due, due + frames * PERIOD * `US, 1);
    due = due + frames * PERIOD * `US;
  end endtask
endmodule
