// A receiver whose outputs follow one another and whose next frame comes 12 ms
// after the last of them ended: frames as long as the widths they carry.
`timescale 1ns/1ns
`define US 1000.0
`include "wire.vh"
module harbour;
  wire throttle, rudder, winch;
  servo_wire #("throttle", 1, 3000, 16120) t (throttle);
  servo_wire #("rudder", 1, 3000, 16120)   r (rudder);
  servo_wire #("winch", 1, 3000, 16120)    w (winch);

  initial begin : frames
    integer n;
    $display("unit,1ns");
    $display("pattern,throttle,width-timed");
    $display("pattern,rudder,width-timed");
    $display("pattern,winch,width-timed");
    $dumpfile("capture.vcd");
    $dumpvars(1, harbour);
    #(3000 * `US);
    for (n = 0; n < 250; n = n + 1) begin
      t.now(1500 + 350 * $sin(n / 12.0));
      r.now(n < 100 ? 1520 : 1520 + 300 * $sin((n - 100) / 7.0));
      w.now(1100);
      #(12000 * `US);
    end
    $finish(0);
  end
endmodule
