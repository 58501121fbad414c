// Voltages as real variables: they hold a value until the next one, so a pulse
// begins at the stamp whose value lies beyond half the amplitude. Steps on the
// way keep clear of that level.
`timescale 1us/1ns
`define US 1.0
`include "wire.vh"
module harbour;
  wire throttle, winch;
  real throttle_volts, winch_volts;
  servo_wire #("throttle_volts", 1, 3000) t (throttle);
  servo_wire #("winch_volts", 1, 7000)    w (winch);

  initial begin
    $display("unit,1us");
    $display("named,throttle_volts");
    $display("named,winch_volts");
    $dumpfile("capture.vcd");
    $dumpvars(0, throttle_volts, winch_volts);
  end

  // 0 and 3.3 V at once.
  always @(throttle) throttle_volts = throttle ? 3.3 : 0;
  // 0.2 and 5.1 V; the edge has begun 2 us before the logic turns over and ends
  // 3 us after it.
  real ahead;
  initial begin
    winch_volts = 0.2;
    ahead = 7000;
    repeat (80) begin
      #(ahead - 2 - $realtime) winch_volts = 0.9;
      #2 winch_volts = 4.4; w.rise;
      #3 winch_volts = 5.1;
      #(1237.25 - 5) winch_volts = 4.6;
      #2 winch_volts = 1.1; w.fall;
      #3 winch_volts = 0.2;
      ahead = ahead + 22000;
    end
  end

  initial begin
    t.rest(40, 1500.5); t.move(20, 1500.5, 1100.5); t.rest(20, 1100.5);
    #15000 $finish(0);
  end
endmodule
