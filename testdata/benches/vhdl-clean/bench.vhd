-- A tug's receiver in order, as a resolved nine-state signal that takes strong
-- levels only. Stamps in femtoseconds.
library ieee;
use ieee.std_logic_1164.all;
use work.wire.all;

entity bench is
end entity;

architecture harbour of bench is
  signal throttle, rudder, winch : std_logic := '0';
  signal told : boolean := true;
begin
  t : watch(throttle, told, "throttle", 22 ms);
  r : watch(rudder, told, "rudder", 22 ms);
  w : watch(winch, told, "winch", 22 ms);

  process
  begin
    say("unit,1fs");
    wait for 3 ms;
    for n in 0 to 119 loop
      throttle <= '1';
      wait for 1500 us + (n mod 3) * 125 ps;
      throttle <= '0';
      wait for 22 ms - 1500 us - (n mod 3) * 125 ps;
    end loop;
    wait;
  end process;

  process
    variable turn : time := 1520 us;
  begin
    wait for 5 ms;
    for n in 0 to 119 loop
      if n >= 40 and n < 80 then
        turn := turn + 9250 ns;
      end if;
      rudder <= '1';
      wait for turn;
      rudder <= '0';
      wait for 22 ms - turn;
    end loop;
    wait;
  end process;

  process
  begin
    wait for 8000001 ps;
    for n in 0 to 119 loop
      winch <= '1', '0' after 1100062 ns;
      wait for 22 ms;
    end loop;
    wait;
  end process;
end architecture;
