-- The truth about the wires of a bench. The stimulus says which pulses a decoder
-- must accept (told); the instants are taken from the wire as the simulator sees
-- it, H as high and L as low.
library ieee;
use ieee.std_logic_1164.all;
use std.textio.all;

package wire is
  procedure say(text : string);
  -- Whole femtoseconds.
  procedure fault(kind, channel : string; from, til : time; count : natural);
  -- Tells the pulses of w for ever, as long as told is true where they begin.
  procedure watch(signal w : in std_logic; signal told : in boolean;
                  name : string; period : time);
end package;

package body wire is
  procedure say(text : string) is
    variable l : line;
  begin
    write(l, text);
    writeline(output, l);
  end procedure;

  function fs(t : time) return string is
    constant s : string := time'image(t);          -- "1500000000 fs"
  begin
    return s(s'left to s'right - 3);
  end function;

  procedure fault(kind, channel : string; from, til : time; count : natural) is
  begin
    say("fault," & kind & "," & channel & "," & fs(from) & "," & fs(til) & "," & natural'image(count));
  end procedure;

  procedure watch(signal w : in std_logic; signal told : in boolean;
                  name : string; period : time) is
    variable rose  : time;
    variable heard : boolean;
  begin
    say("channel," & name & ",servo,high");
    say("period," & name & "," & fs(period));
    loop
      wait until to_x01(w) = '1';
      rose := now;
      heard := told;
      wait until to_x01(w) /= '1';
      if heard and to_x01(w) = '0' then
        say("pulse," & name & "," & fs(rose) & "," & fs(now - rose));
      end if;
    end loop;
  end procedure;
end package body;
