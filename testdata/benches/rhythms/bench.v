// Frames that follow one another in other ways than evenly, and widths that
// stand still when they should not.
`timescale 1us/1ns
`define US 1.0
`include "wire.vh"
module harbour;
  wire alternating, halved, held, packets;
  servo_wire #("alternating", 1, 3000, 18500) a (alternating);
  servo_wire #("halved", 1, 7000)             h (halved);
  servo_wire #("held", 1, 9000)               r (held);
  servo_wire #("packets", 1, 11000)           p (packets);

  initial begin
    $display("unit,1us");
    $display("pattern,alternating,alternating");
    $display("pattern,halved,steady");
    $display("pattern,held,steady");
    $display("pattern,packets,steady");
    $dumpfile("capture.vcd");
    $dumpvars(1, harbour);
  end

  // 18 ms and 19 ms in turn.
  initial begin : pairs
    integer n;
    for (n = 0; n < 313; n = n + 1) begin
      a.servo(1500);
      a.due = a.due + (n % 2 ? 500 : -500);
    end
  end
  // Every second one of thirty frames is missing.
  initial begin
    h.rest(80, 1500);
    h.fault("dropped-frame", h.due, h.due + 29 * 22000, 15);
    repeat (15) begin h.due = h.due + 22000; h.servo(1500); end
    h.rest(153, 1500);
  end
  // Jitter all along, but for 30 frames of one value.
  initial begin : holding
    integer seed;
    seed = 1947;
    repeat (160) r.servo(1500 + $dist_normal(seed, 0, 2000) / 1000.0);
    r.fault("frozen-width", r.due, r.due + 29 * 22000 + 1501.5, 30);
    r.rest(30, 1501.5);
    repeat (73) r.servo(1500 + $dist_normal(seed, 0, 2000) / 1000.0);
    #5000 $finish(0);
  end
  // A move in which one value stays for six frames and the next one catches up.
  initial begin
    p.rest(60, 1410);
    p.move(20, 1410, 1810);
    $display("fault,repeated-width,packets,%0.3f,%0.3f,6", p.due - 22000, p.due + 4 * 22000 + 1810);
    p.rest(5, 1810);
    p.servo(1930);
    p.move(7, 1930, 2070);
    p.move(24, 2070, 1590);
    p.rest(144, 1590);
  end
endmodule
