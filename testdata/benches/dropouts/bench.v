// Frames that do not come: single ones, a run, a loss on one wire, a loss on
// all, and a frame that is late rather than missing.
`timescale 1us/1ns
`define US 1.0
`include "wire.vh"
module harbour;
  wire throttle, rudder, winch;
  servo_wire #("throttle", 1, 3000)   t (throttle);
  servo_wire #("rudder", 1, 5500.125) r (rudder);
  servo_wire #("winch", 1, 8000.001)  w (winch);

  initial begin
    $display("unit,1us");
    $dumpfile("capture.vcd");
    $dumpvars(1, harbour);
  end

  initial begin : single
    t.rest(40, 1500);
    repeat (3) begin t.drop(1); t.rest(20, 1500); end
    t.rest(93, 1500);
    // A supply dip takes all three.
    t.lose(18);
    $display("fault,shared-loss,throttle rudder winch,%0.3f,%0.3f,1", t.due - 18 * 22000, t.due + 5000.001);
    t.rest(40, 1500);
  end
  initial begin : run
    r.rest(60, 1480.5);
    r.drop(3);
    r.rest(37, 1480.5);
    // One frame 2 ms late; the next one is on the grid again.
    r.fault("period-out-of-range", r.due - 22000, r.due + 2000, 1);
    #(r.due - $realtime + 2000) r.due = r.due + 22000;
    r.now(1480.5);
    r.rest(95, 1480.5);
    r.lose(18);
    r.rest(40, 1480.5);
  end
  initial begin : lost
    w.rest(80, 1999.75);
    w.lose(18);
    w.rest(98, 1999.75);
    w.lose(18);
    w.rest(40, 1999.75);
    #10000 $finish(0);
  end
endmodule
