// Pulses that should not be there and pulses that are not as they should be.
`timescale 1us/1ns
`define US 1.0
`include "wire.vh"
module harbour;
  wire throttle, rudder, winch;
  servo_wire #("throttle", 1, 3000) t (throttle);
  servo_wire #("rudder", 1, 6000)   r (rudder);
  servo_wire #("winch", 1, 9000)    w (winch);

  initial begin
    $display("unit,1us");
    $dumpfile("capture.vcd");
    $dumpvars(1, harbour);
  end

  // A runt in the gap after a pulse, told as a glitch of its own.
  task throttle_runt(input real after, input real us); begin
    t.servo(1500);
    t.hold(after);
    t.fault("glitch", $realtime, $realtime + us, 1);
    t.runt(us);
    t.rest(9, 1500);
  end endtask

  initial begin : between
    real from;
    t.rest(40, 1500);
    throttle_runt(4000, 80);
    throttle_runt(9000, 140.25);
    throttle_runt(2000, 250);
    throttle_runt(7000, 18.5);                 // two spikes
    throttle_runt(3000, 49);
    // Ten 50 us runts 100 us apart are no pulse.
    t.servo(1500);
    t.hold(6000);
    t.fault("glitch", $realtime, $realtime + 1400, 10);
    repeat (10) begin t.runt(50); t.hold(100); end
    t.rest(10, 1500);
    // A 40 us spike 200 us before a pulse is no part of it.
    #(t.due - $realtime - 240);
    t.fault("glitch", $realtime, $realtime + 40, 1);
    t.runt(40);
    t.rest(90, 1500);
  end

  initial begin : broken
    r.rest(40, 1600);
    // A break of 5 us: one pulse, one glitch.
    r.frame; r.rise; r.hold(700);
    r.fault("glitch", $realtime, $realtime + 5, 1);
    r.level(0); r.hold(5); r.level(1); r.hold(895); r.fall;
    r.rest(19, 1600);
    // A break of 120 us.
    r.frame; r.rise; r.hold(1000);
    r.fault("glitch", $realtime, $realtime + 120, 1);
    r.level(0); r.hold(120); r.level(1); r.hold(480); r.fall;
    r.rest(19, 1600);
    // Chatter at both edges: the first crossing stands.
    r.frame;
    r.fault("edge-chatter", $realtime, $realtime + 1603, 2);
    r.rise; r.hold(0.5); r.level(0); r.hold(0.75); r.level(1); r.hold(1598.75); r.fall;
    r.hold(0.8); r.level(1); r.hold(1.2); r.level(0);
    r.rest(19, 1600);
    // A pulse between two frames, whose grid goes on.
    r.servo(1600);
    r.hold(9000);
    r.fault("extra-pulse", $realtime, $realtime + 1400, 1);
    r.now(1400);
    r.rest(90, 1600);
  end

  initial begin : odd
    w.rest(40, 1200);
    // Stuck high for 9 ms, in place of a pulse.
    w.frame;
    w.fault("stuck-level", $realtime, $realtime + 9000, 1);
    w.runt(9000);
    w.rest(29, 1200);
    // One width 60 us off both neighbours.
    w.fault("width-spike", w.due, w.due + 1260, 1);
    w.servo(1260);
    w.rest(29, 1200);
    // Four too wide, four too narrow.
    w.fault("width-out-of-range", w.due, w.due + 3 * 22000 + 2300, 4);
    w.rest(4, 2300);
    w.rest(20, 1200);
    w.fault("width-out-of-range", w.due, w.due + 3 * 22000 + 850, 4);
    w.rest(4, 850);
    w.rest(60, 1200);
    #10000 $finish(0);
  end
endmodule
