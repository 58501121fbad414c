// A design of a few hundred signals in nested scopes. Three of them carry servo
// pulses; two of these share a name and are told apart by their paths, the third
// goes through a port and so is declared twice.
`timescale 1ns/1ps
`define US 1000.0
`include "wire.vh"
module post #(parameter AFT = 0);
  wire pwm = AFT ? bench.aft : bench.bow;
endmodule

module siren (input wire drive);
endmodule

// A lane of a counter: its bits tick over at rates that no servo has.
module lane #(parameter integer N = 0);
  reg        clear, carry;
  reg  [7:0] count;
  wire       even = ^count;
  genvar b;
  for (b = 0; b < 8; b = b + 1) begin : tap
    wire out = count[b];
  end
  initial begin
    clear = 1; carry = 0; count = N;
    #(1000 * `US) clear = 0;
    repeat (12) #((100000 + N * 733) * `US) {carry, count} = count + 37;
  end
endmodule

module harbour;
  wire horn = bench.horn;
  siren siren (horn);
  genvar n;
  for (n = 0; n < 24; n = n + 1) begin : deck
    lane #(n) lane ();
    if (n == 7)  begin : stern post #(1) tug (); end
    if (n == 19) begin : stem  post #(0) tug (); end
  end
endmodule

// The stimulus stands outside the design and is not dumped.
module bench;
  wire horn, aft, bow;
  servo_wire #("horn", 1, 2000.001)                            h (horn);
  servo_wire #("bench.harbour.deck[7].stern.tug.pwm", 1, 9000) a (aft);
  servo_wire #("bench.harbour.deck[19].stem.tug.pwm", 1, 12000) b (bow);
  harbour harbour ();

  initial begin
    $display("unit,1ns");
    $dumpfile("capture.vcd");
    $dumpvars(0, harbour);
  end
  initial begin h.rest(60, 1950.125); #(30000 * `US) $finish(0); end
  initial a.rest(60, 1480.001);
  initial b.rest(60, 1777.777);
endmodule
