// A table that another program than ours has written: a row for each change,
// with a point and with a decimal comma.
`timescale 1us/1ns
`define US 1.0
`include "wire.vh"
module harbour;
  wire throttle, rudder, winch;
  servo_wire #("throttle", 1, 3000, 20000)  t (throttle);
  servo_wire #("rudder", 1, 4700.25, 20000) r (rudder);
  servo_wire #("winch", 1, 6900.001, 20000) w (winch);

  integer point, comma, ns;
  initial begin
    $display("unit,1us");
    point = $fopen("capture.csv");
    comma = $fopen("capture-comma.csv");
    $fdisplay(point, "time_us,throttle,rudder,winch");
    $fdisplay(comma, "time_ms;throttle;rudder;winch");
    row;
  end
  always @(throttle, rudder, winch) if ($realtime > 0) row;
  task row; begin
    $fdisplay(point, "%0.3f,%b,%b,%b", $realtime, throttle, rudder, winch);
    ns = $rtoi($realtime * 1000 + 0.5);
    $fdisplay(comma, "%0d,%06d;%b;%b;%b", ns / 1000000, ns % 1000000, throttle, rudder, winch);
  end endtask

  initial begin t.rest(25, 1500); t.drop(1); t.rest(54, 1500); end
  initial begin r.rest(40, 1520.125); r.move(40, 1520.125, 1920.125); end
  initial begin w.rest(80, 1099.999); #8000 row; $finish(0); end
endmodule
