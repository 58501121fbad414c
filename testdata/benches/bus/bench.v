// Channels that are bits of one vector, among bits that carry other things.
`timescale 1us/1ns
`define US 1.0
`include "wire.vh"
module harbour;
  reg  [7:0] bus;
  wire [2:0] servo;
  reg        lamp, buzzer;
  servo_wire #("bus[0]", 1, 3000) t (servo[0]);
  servo_wire #("bus[3]", 1, 5000) r (servo[1]);
  servo_wire #("bus[7]", 1, 7000) w (servo[2]);
  always @* bus = {servo[2], 1'b1, lamp, 1'b0, servo[1], 1'bz, buzzer, servo[0]};

  initial begin
    $display("unit,1us");
    $display("named,bus[0]");
    $display("named,bus[3]");
    $display("named,bus[7]");
    $dumpfile("capture.vcd");
    $dumpvars(0, bus);
  end

  initial begin lamp = 0; forever #333000 lamp = !lamp; end
  initial begin buzzer = 0; #700000 repeat (50) #1250 buzzer = !buzzer; end
  initial begin t.rest(50, 1500); t.move(50, 1500, 1900); t.rest(50, 1900); end
  initial r.rest(150, 1520.125);
  initial begin w.rest(70, 1100); w.drop(1); w.rest(79, 1100); #9000 $finish(0); end
endmodule
