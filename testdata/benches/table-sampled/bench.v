// A table with a row for each sample at 100 kHz. The truth is taken from the
// sampled wires: an edge is the stamp of the first row that carries it.
`timescale 1us/1ns
`define US 1.0
`include "wire.vh"
module witness #(parameter NAME = "?") (input wire w);
  real rose;
  initial $display("channel,%0s,servo,high", NAME);
  always @(posedge w) rose = $realtime;
  always @(negedge w) if ($realtime > 0)
    $display("pulse,%0s,%0.3f,%0.3f", NAME, rose, $realtime - rose);
endmodule

module harbour;
  wire [2:0] wires;
  reg  [2:0] sampled;
  servo_wire #("throttle", 1, 3000.3, 20000, 0) t (wires[2]);
  servo_wire #("rudder", 1, 4704.2, 20000.7, 0) r (wires[1]);
  servo_wire #("winch", 1, 6909.9, 20000, 0)    w (wires[0]);
  witness #("throttle") tw (sampled[2]);
  witness #("rudder")   rw (sampled[1]);
  witness #("winch")    ww (sampled[0]);

  integer table_file;
  initial begin
    $display("unit,1us");
    table_file = $fopen("capture.csv");
    $fdisplay(table_file, "time_us,throttle,rudder,winch");
    sampled = 0;
    forever begin
      $fdisplay(table_file, "%0d,%b,%b,%b", $rtoi($realtime + 0.5), sampled[2], sampled[1], sampled[0]);
      #10 sampled = wires;
    end
  end

  initial t.rest(30, 1500);
  initial begin r.rest(10, 1520.5); r.move(20, 1520.5, 1920.5); end
  initial begin w.rest(30, 1096.2); #8000 $finish(0); end
endmodule
