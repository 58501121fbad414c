// All channels on one wire as a sum stream: eight slots in 22.5 ms, markers of
// 300 us, once active high and once active low, and one frame that lacks a slot.
`timescale 1us/1ns
`define US 1.0
module sum_wire #(parameter NAME = "?", parameter [0:0] ACTIVE = 1'b1) (output reg w);
  real    due, last;
  integer slot;                   // the slot that the next leading edge ends
  wire on = (w === ACTIVE);

  initial begin
    w = !ACTIVE;
    slot = 0;
    if (ACTIVE) $display("channel,%0s,pulse-position,high", NAME);
    else $display("channel,%0s,pulse-position,low", NAME);
  end

  always @(posedge on) begin
    if (slot > 0) $display("pulse,%0s.%0d,%0.3f,%0.3f", NAME, slot, last, $realtime - last);
    last = $realtime;
  end

  task marker(input integer ends, input real us); begin
    slot = ends;
    w = ACTIVE;
    #300 w = !ACTIVE;
    #(us - 300);
  end endtask

  // A frame of eight slots; those that rudder and throttle hold move.
  task frame(input real throttle, input real rudder); begin
    #(due - $realtime) due = due + 22500;
    marker(0, 1500.5);
    marker(1, rudder);
    marker(2, throttle);
    marker(3, 1500);
    marker(4, 1100.125);
    marker(5, 1900);
    marker(6, 1500);
    marker(7, 1250);
    marker(8, 400);
  end endtask

  // A frame whose last slot is missing.
  task short_frame; begin
    $display("fault,dropped-frame,%0s,%0.3f,%0.3f,1", NAME, due, due + 22500);
    #(due - $realtime) due = due + 22500;
    repeat (8) marker(0, 1500);
  end endtask
endmodule

module harbour;
  wire sum, sum_inverted;
  sum_wire #("sum", 1)          s (sum);
  sum_wire #("sum_inverted", 0) i (sum_inverted);

  initial begin
    $display("unit,1us");
    $dumpfile("capture.vcd");
    $dumpvars(1, harbour);
  end

  initial begin : steady
    integer n;
    s.due = 4000;
    for (n = 0; n < 80; n = n + 1) s.frame(1500, 1500);
    s.short_frame;
    for (n = 0; n < 40; n = n + 1) s.frame(1500 + n * 10.5, 1520);
    #20000 $finish(0);
  end
  initial begin : moving
    integer n;
    i.due = 9000;
    for (n = 0; n < 120; n = n + 1) i.frame(1100 + n * 3.25, n < 60 ? 1500 : 1750.25);
  end
endmodule
