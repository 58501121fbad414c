// Levels that are not known: x, z and a dump switched off. Nothing may be
// concluded from them. Stamps in picoseconds.
`timescale 1ps/1ps
`define US 1000000.0
`include "wire.vh"
module harbour;
  wire throttle, rudder, winch;
  servo_wire #("throttle", 1, 3000)         t (throttle);
  servo_wire #("rudder", 1, 6000.000001)    r (rudder);
  servo_wire #("winch", 1, 9000.500001)     w (winch);

  initial begin
    $display("unit,1ps");
    $dumpfile("capture.vcd");
    $dumpvars(1, harbour);
  end

  // The dump is off from the middle of a throttle pulse over five frames and
  // on again between pulses.
  real off;
  initial begin
    #(3000 * `US + 100 * 22000 * `US + 700 * `US) $dumpoff;
    off = $realtime;
    #(5 * 22000 * `US + 12000 * `US) $dumpon;
    t.fault("unknown-level", off, $realtime, 1);
    r.fault("unknown-level", off, $realtime, 1);
    w.fault("unknown-level", off, $realtime, 1);
  end

  initial begin : x_levels
    t.rest(40, 1500.000003);
    // x for 200 us while inactive is nothing.
    t.hold(5000); t.w = 1'bx; t.hold(200); t.level(0);
    t.rest(20, 1500.000003);
    // x over three frames, from a gap to a gap.
    t.hold(4000);
    t.fault("unknown-level", $realtime, $realtime + 3.5 * 22000 * `US, 1);
    t.w = 1'bx; t.hold(3.5 * 22000); t.level(0);
    t.due = t.due + 3 * 22000 * `US;
    t.rest(37, 1500.000003);
    t.frame; t.runt(1500);                      // cut by the dump
    repeat (5) begin t.frame; t.runt(1500); end // unseen
    t.rest(50, 1500.000003);
  end

  initial begin : z_levels
    r.rest(70, 1499.999999);
    // z from within a pulse: it has no width.
    r.frame; r.level(1); r.hold(700);
    r.fault("unknown-level", $realtime, $realtime + 30000 * `US, 1);
    r.w = 1'bz; r.hold(30000); r.level(0);
    r.due = r.due + 22000 * `US;
    r.rest(28, 1499.999999);
    repeat (6) begin r.frame; r.runt(1500); end // unseen
    r.rest(50, 1499.999999);
  end

  initial begin : breaks
    w.rest(50, 1800);
    // x for 100 us within a pulse is a break and no more.
    w.frame; w.rise; w.hold(900);
    w.fault("glitch", $realtime, $realtime + 100 * `US, 1);
    w.w = 1'bx; w.hold(100); w.level(1); w.hold(800);
    w.fall;
    w.rest(49, 1800);
    repeat (6) begin w.frame; w.runt(1800); end // unseen
    w.rest(50, 1800);
    #(10000 * `US) $finish(0);
  end
endmodule
