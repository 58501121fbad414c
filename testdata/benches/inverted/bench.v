// Pulses through an inverting level shifter. The recording begins within a
// pulse and ends within one: neither counts.
`timescale 1ns/1ns
`define US 1000.0
`include "wire.vh"
module harbour;
  wire throttle, rudder, winch;
  servo_wire #("throttle", 0, 0, 20000) t (throttle);
  servo_wire #("rudder", 0, 5000, 20000) r (rudder);
  servo_wire #("winch", 1, 10000, 20000) w (winch);      // this one is not inverted

  initial begin
    $display("unit,1ns");
    $dumpfile("capture.vcd");
    $dumpvars(0, harbour.throttle, harbour.rudder, harbour.winch);
    $display("fault,inverted,throttle,0,2000000000,1");
    $display("fault,inverted,rudder,0,2000000000,1");
  end

  initial begin : cut
    t.level(1); t.hold(600); t.level(0);
    t.due = 20000 * `US;
    t.rest(98, 1510);
    t.frame; t.level(1);
    #(900 * `US) $finish(0);
  end
  initial begin r.rest(30, 1500); r.move(60, 1500, 1050); r.rest(9, 1050); end
  initial w.rest(99, 2012);
endmodule
