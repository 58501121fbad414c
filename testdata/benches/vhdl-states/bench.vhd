-- All nine states of a resolved signal: H is high, L low, the rest unknown. And
-- faults between them.
library ieee;
use ieee.std_logic_1164.all;
use work.wire.all;

entity bench is
end entity;

architecture harbour of bench is
  signal throttle : std_logic := 'L';
  signal rudder   : std_logic := 'U';       -- not driven until 2 ms
  signal winch    : std_logic := '0';
  signal t_told, r_told, w_told : boolean := true;
begin
  t : watch(throttle, t_told, "throttle", 20 ms);
  r : watch(rudder, r_told, "rudder", 20 ms);
  w : watch(winch, w_told, "winch", 20 ms);

  -- Pulled up by a resistor in every second frame, by a driver in the others,
  -- and from one to the other within a pulse, which is no edge.
  process
    procedure frame(width : time) is
    begin
      throttle <= 'H';
      wait for width;
      throttle <= 'L';
      wait for 20 ms - width;
    end procedure;
  begin
    say("unit,1fs");
    wait for 3 ms;
    for n in 0 to 39 loop
      if n mod 2 = 0 then
        frame(1500 us);
      else
        throttle <= '1', 'H' after 700 us, '1' after 701 us;
        wait for 1500 us;
        throttle <= '0', 'L' after 5 ms;
        wait for 18500 us;
      end if;
    end loop;
    -- One frame left out.
    fault("dropped-frame", "throttle", now, now + 20 ms, 1);
    wait for 20 ms;
    for n in 0 to 9 loop
      frame(1500 us);
    end loop;
    for n in 0 to 9 loop
      frame(1500 us);
    end loop;
    -- A runt of weak levels between two frames.
    throttle <= 'H';
    wait for 1500 us;
    throttle <= 'L';
    wait for 6500 us;
    t_told <= false;
    wait for 1 ns;
    throttle <= 'H';
    fault("glitch", "throttle", now, now + 120 us, 1);
    wait for 120 us;
    throttle <= 'L';
    wait for 1 ms - 120 us - 1 ns;
    t_told <= true;
    wait for 11 ms;
    for n in 0 to 37 loop
      frame(1500 us);
    end loop;
    wait;
  end process;

  -- Undriven at the start and again, twice, in other ways.
  process
    procedure train(frames : natural) is
    begin
      for n in 1 to frames loop
        rudder <= '1';
        wait for 1480 us;
        rudder <= '0';
        wait for 20 ms - 1480 us;
      end loop;
    end procedure;
  begin
    fault("unknown-level", "rudder", 0 ms, 2 ms, 1);
    wait for 2 ms;
    rudder <= 'L';
    wait for 3 ms;
    train(30);
    fault("unknown-level", "rudder", now + 5 ms, now + 45 ms, 1);
    rudder <= '0', 'Z' after 5 ms, 'W' after 20 ms, '-' after 30 ms, 'X' after 40 ms, '0' after 45 ms;
    wait for 60 ms;
    train(67);
    wait;
  end process;

  -- Two drivers that disagree in the middle of a pulse, which leaves it without
  -- a width, and a supply that fails for 200 ms.
  process
    procedure train(frames : natural) is
    begin
      for n in 1 to frames loop
        winch <= '1';
        wait for 1800 us;
        winch <= '0';
        wait for 20 ms - 1800 us;
      end loop;
    end procedure;
  begin
    wait for 9 ms;
    train(40);
    w_told <= false;
    fault("unknown-level", "winch", now + 900 us, now + 19 ms, 1);
    winch <= '1', 'X' after 900 us, '0' after 19 ms;
    wait for 20 ms - 1 ns;
    w_told <= true;
    wait for 1 ns;
    train(20);
    fault("signal-loss", "winch", now, now + 200 ms, 1);
    wait for 200 ms;
    train(30);
    wait;
  end process;
end architecture;
