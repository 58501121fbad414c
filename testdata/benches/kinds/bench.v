// Wires that carry other things than servo pulses beside some that do: narrow
// pulses at two rates. The receiver starts after 1.3 s and one of its outputs is
// noisy until then.
`timescale 1us/1ns
`define US 1.0
`include "wire.vh"
module harbour;
  wire throttle, rudder, fin, gyro;
  reg  horn, pump, log, stray;
  servo_wire #("throttle", 1, 1303000)              t (throttle);
  servo_wire #("rudder", 1, 1300000, 22000)         r (rudder);
  servo_wire #("fin", 1, 1300500, 3003.003)         f (fin);    // 333 Hz
  servo_wire #("gyro", 1, 1300700, 1785.714)        g (gyro);   // 560 Hz

  initial begin
    $display("unit,1us");
    $display("other,horn,silent");
    $display("other,pump,duty");
    $display("other,log,serial");
    $display("other,stray,echo");
    $dumpfile("capture.vcd");
    $dumpvars(1, harbour);
  end

  initial begin : sweep
    integer n;
    for (n = 0; n < 61; n = n + 1) t.servo(1500 + 200 * $sin(n / 9.0));
  end
  initial begin : start_up
    integer seed;
    seed = 1947;
    while ($realtime < 1200000) begin
      r.hold($dist_uniform(seed, 800, 3200));
      r.runt($dist_uniform(seed, 60, 200));
    end
    r.rest(61, 1480);
  end
  initial f.rest(449, 760.125);
  initial g.rest(755, 752);

  initial horn = 0;
  // A motor drive at 1 kHz whose duty rises from 20 % to 80 %.
  initial begin : drive
    integer n;
    pump = 0;
    for (n = 0; n < 600; n = n + 1) begin
      pump = 1; #(200 + n) pump = 0; #(800 - n);
    end
  end
  // 2400 bit/s, a start bit, eight data bits, a stop bit.
  initial begin : line_of_text
    integer n, b, seed;
    reg [9:0] frame;
    seed = 7;
    log = 1;
    #50000;
    for (n = 0; n < 120; n = n + 1) begin
      frame = {1'b1, 8'd32 + $dist_uniform(seed, 0, 94), 1'b0};
      for (b = 0; b < 10; b = b + 1) begin log = frame[b]; #416.667; end
      #(416.667 * $dist_uniform(seed, 0, 3));
    end
    log = 1;
  end
  // An open input picks up one of four throttle pulses, half a microsecond late.
  integer seen = 0;
  always @(posedge throttle) begin : pick_up
    seen = seen + 1;
    if (seen % 4 == 1) begin
      #0.5 stray = 1;
      @(negedge throttle) #0.5 stray = 0;
    end
  end
  initial begin
    stray = 0;
    #2650000 $finish(0);
  end
endmodule
