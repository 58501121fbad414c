// A tug's receiver in order: three outputs that follow one another within the
// frame, sticks at rest with a little jitter and on the move. 1 ps steps.
`timescale 1ns/1ps
`define US 1000.0
`include "wire.vh"
module harbour;
  wire throttle, rudder, winch;
  servo_wire #("throttle")            t (throttle);
  servo_wire #("rudder")              r (rudder);
  servo_wire #("winch")               w (winch);

  initial begin
    $display("unit,1ns");
    $dumpfile("capture.vcd");
    $dumpvars(0, throttle, rudder, winch);
  end

  initial begin : sticks
    integer n, seed;
    real    speed, turn;
    seed = 1947;
    for (n = 0; n < 300; n = n + 1) begin
      speed = n < 80 ? 1500 : n < 160 ? 1500 + 5.25 * (n - 80) : 1920;
      turn  = n < 120 ? 1520 : n < 180 ? 1520 - 7.125 * (n - 120) : 1092.5;
      t.servo(speed + $dist_normal(seed, 0, 700) / 1000.0);
      r.now(turn + $dist_normal(seed, 0, 700) / 1000.0);
      w.now(1100.062 + (n % 2) * 0.125);
    end
    #(5000 * `US) $finish(0);
  end
endmodule
