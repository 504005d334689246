/* A programme as docs/programme.md has it, written by hand from that page: at most three areas (the third a shared one), three zones,
   three people. What a programme says is read when the model starts and is no part of its state. ROWS stands for the events, one for
   each area, zone, person and set state, written out below. */
#define UNSET 0
#define EXIT 1
#define SET 2
#define ENTRY 3
#define IGN 0
#define CHIME 1
#define SOAK 2
#define FINAL 3
#define ROUTE 4
#define IMM 5
#define H24 6
#define TAMPER 7
#define HOLD 8
#define SETTLING 3
#define GONE 1
#define BLIND 2
#define WINDOW 1
#define SENT 2
#define CLOSED 3
#define HELD 4
#define WAITS 5
#define NONE 99

c_decl { #include <stdlib.h> }
c_decl { #include <string.h> }

/* The programme: read once. */
hidden byte said[160];
#define HAS(a) said[a]
#define ENT(a) said[3 + a]
#define EXI(a) said[6 + a]
#define SERVED(a) said[9 + a]
#define IN(z, a) said[12 + 3 * (z) + (a)]
#define ORDER(z, k) said[21 + 3 * (z) + (k)]
#define DOES(z, s) said[30 + 3 * (z) + (s)]
#define CONTACT(z) said[39 + z]
#define FOLLOWED(z) said[42 + z]
#define MAYSET(p, a) said[45 + 3 * (p) + (a)]
#define MAYUNSET(p, a) said[54 + 3 * (p) + (a)]
#define ENGINEER(p) said[63 + p]
#define CLEARS(p) said[66 + p]
#define PREVENTS(c) said[69 + c]
#define SOUNDS(c) said[76 + c]
#define STATES said[82]
#define TIMED said[83]
#define BYDOOR said[84]
#define BYKEY said[85]
#define SETTLE said[86]
#define RESTART said[87]
#define FAILS said[88]
#define TOPART said[89]
#define STOPS said[90]
#define MOST said[91]
#define FORGETS said[92] /* 0 unset, 1 set, 2 midnight */
#define ALARMBY said[93] /* 0 user, 1 engineer, 2 remote */
#define TAMPERBY said[94]
#define ALLSET said[95]
#define ATONCE said[96]
#define BLINDFOR said[97]
#define SOUNDFOR said[98]
#define ABORT said[99]
#define CANCEL said[100] /* NONE: for any time */
#define CONFIRM said[101]
#define CONFIRMENTRY said[102]
#define HOLDBACK said[103]
#define SENDSALARM said[104]
#define CONDITIONS said[105]
#define POWER said[106]
#define REPORT said[107]
#define SOUND said[108]
#define CONFIRMS(a) (said[109] || JUDGED(a))
#define TOGETHER said[110] /* a zone that is not followed is told apart as the one that started entry */
#define ASKED said[111] /* what must not be reached: 1 a shared area left unset, 2 entry with nobody who started it, 3 locked out and nothing sent,
  4 a warning while an alarm is not cleared, 5 the output on while the first area is unset,
  6 an alarm while somebody comes in or after */
#define BACKUNSET said[112] /* a unit that forgets its set state without power */
#define ITSELF(a) said[113 + a] /* an area that sets itself */
#define WARNING(a) said[116 + a] /* how long it warns before; 0: not at all */
#define FOB(p) said[119 + p]
#define OUT said[122] /* what a switched output follows, or nothing */
#define HOW said[123] /* as long as it lasts, for a time from each beginning, until cleared */
#define OUTFOR said[124] /* NONE: no time */
#define OUTIN(a) said[125 + a]
#define QUIETFOR said[128] /* after which the alarms of a zone are forgotten; 0: never */
#define WALKS said[129] /* everybody stays away but one, who sets, comes back by DOOR past zones to INTO, and unsets in time */
#define DOOR said[130]
#define PAST(z) said[131 + z]
#define WALKFOR said[134]
#define WALKSTATES said[135]
#define INTO said[136]
#define SOUNDINGS said[137] /* the sounders start no more often than that; 0: as often as asked */
#define LEAVES said[138] /* an alarm that nothing confirms leaves its zone inhibited, if that still stands open */
#define JUDGED(a) said[139 + a] /* an area with such a zone: what is confirmed there is remembered, looked at or not */
#define LOUD(c) said[142 + c] /* an intruder's alarm set in full, set in part, during exit, during entry; an exit error */
/* 0 outside, 1 inside only, 2 silent. Where inside only may be asked for while it sounds outside, it is remembered which. */
#define ANYOUT (!SOUNDS(0) || !SOUNDS(1) || !SOUNDS(2) || !SOUNDS(3) || !SOUNDS(4) || !SOUNDS(5) || !LOUD(0) || !LOUD(1) || !LOUD(2) || !LOUD(3) || !LOUD(4))
#define ANYIN (SOUNDS(1) == 1 || SOUNDS(3) == 1 || SOUNDS(5) == 1 || LOUD(0) == 1 || LOUD(1) == 1 || LOUD(2) == 1 || LOUD(3) == 1 || LOUD(4) == 1)
#define ANEW said[147] /* an alarm begins the sounders' time anew; else it changes nothing while they sound as it asks for */
#define APART (ANYOUT && (ANYIN || (!ANEW && (SOUNDS(0) == 1 || SOUNDS(2) == 1 || SOUNDS(4) == 1))))
#define LOUDER (APART && loud == 0 -> 2 : 1)
#define LOUDNOW(a) (mode[a] == EXIT -> LOUD(2) : (mode[a] == ENTRY -> LOUD(3) : (part[a] -> LOUD(1) : LOUD(0))))
#define FREELY (!WALKS)
#define AWAY (walk == 0)
#define INWARD (WALKS == 1)
#define OUTWARD (WALKS == 2) /* or sets INTO, goes out past zones by DOOR, and shuts it behind them */
#define COMING (INWARD && walk == 1)
#define GOING (OUTWARD && walk == 1)
#define LEAVING (BYDOOR && (mode[INTO] == EXIT || mode[INTO] == ENTRY))
#define SETALL ((!HAS(0) || mode[0] == SET) && (!HAS(1) || mode[1] == SET) && (!HAS(2) || mode[2] == SET))
#define UNSETS(a) (a == INTO || (INTO == 2 && SERVED(a) && !MAYUNSET(0, 2) && !MAYUNSET(1, 2) && !MAYUNSET(2, 2)))
#define OALARM 1
#define OCONFIRMED 2
#define OTAMPER 3
#define OHOLD 4
#define OSET 5
#define OUNSET 6
#define OENTRY 7
#define OEXIT 8
#define OSOUNDER 9
#define OPATH 10 /* mains 11, battery 12 */
#define OFAULT 13
#define OCHIME 14
#define OSOAK 15
#define OLOCKED 16
#define ODURESS 17
#define MOMENT (OUT >= OCHIME)
#define FORCED (FREELY && OUT == ODURESS) /* who acts is told apart only where an output follows it */
#define DURESS(p) (!CLEARS(p)) /* whoever is made to; who is nobody may do nothing */
#define FREEWILL(p) (CLEARS(p) || OUT != ODURESS)
#define SETSBY(p, a, s) (DURESS(p) && MAYSET(p, a) && !(FOB(p) && (s) != 0))
#define MAYPUTOFF(p, a) (MAYSET(p, a) || MAYUNSET(p, a))

byte mode[3], part[3], door[3], memory[3], starter[3], clk[3], warns[3], warnclk[3];
byte opened[3], trips[3], quietclk[3], inhibited[3];
byte cond[5]; /* tamper, hold-up, path, mains, battery */
byte power, powerclk;
byte walk, walkclk, sounded[3];
byte lit, litclk, lasting[3]; /* the switched output; where an alarm, or a confirmed one, lasts */
byte report[3], reportclk[3], told[3], sound[3], soundclk[3], confirm[3], confirmclk[3];
hidden byte d, counts, rings, loud, moved, first[3], started, some, same;

#define WAY(x) ((x) == FINAL || (x) == ROUTE)
#define STILL(x) ((x) == IGN || (x) == CHIME || (x) == SOAK)
#define NOW(z, a) (mode[a] == UNSET -> DOES(z, 0) : DOES(z, 1 + part[a]))
#define STANDS(z, a, s) (FOLLOWED(z) && IN(z, a) && CONTACT(z) && opened[z] && !WAY(DOES(z, 1 + s)) && !STILL(DOES(z, 1 + s)))
#define ANYOPEN(a, s) (STANDS(0, a, s) || STANDS(1, a, s) || STANDS(2, a, s))
#define INWAY1(z, a) (FOLLOWED(z) && IN(z, a) && CONTACT(z) && opened[z] && WAY(NOW(z, a)))
#define INWAY(a) (INWAY1(0, a) || INWAY1(1, a) || INWAY1(2, a))
#define OVER(c, p) (PREVENTS(c) == 0 || (!FOB(p) && (PREVENTS(c) == 1 || (PREVENTS(c) == 2 && ENGINEER(p)))))
#define FREE(a, s, p) ((!ANYOPEN(a, s) || OVER(0, p)) && (!memory[a] || OVER(1, p)) && (!cond[0] || OVER(2, p)) \
  && (!cond[1] || OVER(3, p)) && (!cond[2] || OVER(4, p)) && (!cond[3] || OVER(5, p)) && (!cond[4] || OVER(6, p)))
/* Nobody is there when an area sets itself: what is not ignored is in the way, and so may be what nothing is remembered of. */
#define NOTHING(a) ((!ANYOPEN(a, 0) || !PREVENTS(0)) && (!memory[a] || !PREVENTS(1)) && (!cond[0] || !PREVENTS(2)) && (!cond[1] || !PREVENTS(3)) \
  && (!cond[2] || !PREVENTS(4)) && (!cond[3] || !PREVENTS(5)) && (!cond[4] || !PREVENTS(6)))
#define UNSEEN1(z, a) (IN(z, a) && !FOLLOWED(z))
#define UNSEEN(a) ((PREVENTS(0) && (UNSEEN1(0, a) || UNSEEN1(1, a) || UNSEEN1(2, a))) || \
  (!CONDITIONS && (PREVENTS(2) || PREVENTS(3) || PREVENTS(4) || PREVENTS(5) || PREVENTS(6))))
#define MAYCLEAR(by, p) (CLEARS(p) && !FOB(p) && (by == 0 || (by == 1 && ENGINEER(p))))
#define CAUSE1(z, x) (FOLLOWED(z) && CONTACT(z) && opened[z] && DOES(z, 0) == x)
#define CAUSEIN(a) ((CAUSE1(0, H24) && IN(0, a)) || (CAUSE1(1, H24) && IN(1, a)) || (CAUSE1(2, H24) && IN(2, a)))
#define CAUSE(x) (CAUSE1(0, x) || CAUSE1(1, x) || CAUSE1(2, x))
#define WORKS (power != GONE)

/* The switched output begins with what it follows, and ends when that lasts nowhere any more; a moment needs a time. */
inline lights() { if :: HOW == 2 || OUTFOR != NONE || !MOMENT && HOW == 0 -> lit = 1; litclk = 0 :: else fi }
inline begins(a, what) {
  if :: OUT == what && OUTIN(a) -> lights(); if :: what <= OCONFIRMED && HOW == 0 -> lasting[a] = 1 :: else fi :: else fi
}
inline fails(c) { if :: (OUT == OPATH + c - 2 || OUT == OFAULT) && cond[c] -> lights() :: else fi }
inline unlatched(yes) { if :: HOW == 2 && (yes) -> lit = 0; litclk = 0 :: else fi }
#define LATCHED(c) (OUT == OTAMPER + c)
#define LASTSIN(a) (OUTIN(a) && ((OUT <= OCONFIRMED && lasting[a]) || (OUT == OSET && (mode[a] == SET || mode[a] == ENTRY)) || \
  (OUT == OUNSET && mode[a] == UNSET) || (OUT == OENTRY && mode[a] == ENTRY) || (OUT == OEXIT && mode[a] == EXIT) || (OUT == OSOUNDER && sound[a])))
#define LASTS_STILL (LASTSIN(0) || LASTSIN(1) || LASTSIN(2) || (LATCHED(0) && cond[0]) || (LATCHED(1) && cond[1]) || \
  ((OUT == OPATH || OUT == OFAULT) && cond[2]) || ((OUT == OPATH + 1 || OUT == OFAULT) && cond[3]) || ((OUT == OPATH + 2 || OUT == OFAULT) && cond[4]))
inline settle() { if :: OUT && HOW == 0 && lit && !MOMENT && !LASTS_STILL -> lit = 0; litclk = 0 :: else fi }
#define QUIETENS(z) (QUIETFOR && trips[z])
#define QUIETDUE(z) (QUIETENS(z) && quietclk[z] == QUIETFOR)
#define WALKRUNS (WALKS && walk == 1)
#define LITRUNS (lit && OUTFOR != NONE)

/* Observers: what an area gives out is told to them at once. */
inline quiet_report(a) { report[a] = 0; reportclk[a] = 0 }
inline quiet_sound(a) { sound[a] = 0; soundclk[a] = 0 }
inline sounds_anew(a) { sounded[a] = 0 }
inline is_left(a) { quiet_report(a); quiet_sound(a); sounds_anew(a); confirm[a] = 0; confirmclk[a] = 0 }
inline send_alarm(a) { report[a] = SENT; reportclk[a] = 0; if :: (MOST && FORGETS && SENDSALARM) -> told[a] = 1 :: else fi }
inline opens_window(a) { if :: ABORT -> report[a] = WINDOW; reportclk[a] = 0 :: else -> send_alarm(a) fi }
inline alarm_reported(a) {
  if
  :: !REPORT || report[a] == WINDOW || report[a] == HELD || report[a] == WAITS
  :: else -> if
    :: report[a] == 0 && HOLDBACK && mode[a] == ENTRY -> report[a] = HELD; reportclk[a] = 0
    :: report[a] == 0 && !(HOLDBACK && mode[a] == ENTRY) -> opens_window(a)
    :: else -> send_alarm(a)
    fi
  fi
}
inline sounds(a) { /* as ``loud`` has it */
  if :: SOUND && SOUNDFOR && loud != 2 && (!SOUNDINGS || sounded[a] < SOUNDINGS) && (ANEW -> !(APART && loud == 1 && sound[a] == 2) : sound[a] < LOUDER) ->
    if :: SOUNDINGS -> sounded[a]++ :: else fi;
    sound[a] = LOUDER; soundclk[a] = 0; begins(a, OSOUNDER) :: else fi }
inline alarm_confirms(a, who) {
  if
  :: !CONFIRMS(a) || !CONFIRM
  :: else -> if
    :: confirm[a] == 0 -> confirm[a] = 3 + who; confirmclk[a] = 0
    :: confirm[a] >= 3 && confirm[a] != 3 + who -> confirm[a] = 1; confirmclk[a] = 0; begins(a, OCONFIRMED)
    :: else
    fi
  fi
}
#define STARTED(a) (confirm[a] - 4) /* the zone whose alarm was the first; an exit error's is none */
inline unconfirmed(a) {
  if
  :: LEAVES && mode[a] != UNSET && confirm[a] >= 4 && FOLLOWED(STARTED(a)) && CONTACT(STARTED(a)) && opened[STARTED(a)] ->
    inhibited[STARTED(a)] = 1
  :: else
  fi;
  confirm[a] = 0; confirmclk[a] = 0
}
inline entry_begun(a) { if :: CONFIRMS(a) && !CONFIRMENTRY -> confirm[a] = 2; confirmclk[a] = 0 :: else fi }
inline alarm(a, who) { /* row 7 */
  memory[a] = 1; begins(a, OALARM); alarm_reported(a);
  sounds(a);
  alarm_confirms(a, who)
}

/* Rows 6 and 18, 21. */
inline forget1(z, a) {
  if
  :: FOLLOWED(z) && IN(z, a) && (a == 0 || !IN(z, 0) || mode[0] == UNSET) && (a == 1 || !IN(z, 1) || mode[1] == UNSET) &&
     (a == 2 || !IN(z, 2) || mode[2] == UNSET) -> inhibited[z] = 0; if :: FORGETS == 0 -> trips[z] = 0; quietclk[z] = 0 :: else fi
  :: else
  fi
}
inline leaves(a) {
  mode[a] = UNSET; part[a] = 0; door[a] = 0; starter[a] = 0; clk[a] = 0;
  forget1(0, a); forget1(1, a); forget1(2, a); is_left(a); lasting[a] = 0; begins(a, OUNSET)
}
inline period1(z, a) { if :: FOLLOWED(z) && IN(z, a) -> trips[z] = 0; quietclk[z] = 0 :: else fi }
inline period(a) { if :: MOST && FORGETS == 1 -> period1(0, a); period1(1, a); period1(2, a); told[a] = 0 :: else fi }
inline leave_out1(z, a, s) { if :: STANDS(z, a, s) -> inhibited[z] = 1 :: else fi }
inline leave_out(a, s) { if :: PREVENTS(0) -> leave_out1(0, a, s); leave_out1(1, a, s); leave_out1(2, a, s) :: else fi }
inline warns_no_more(a) { warns[a] = 0; warnclk[a] = 0 }
inline begins_exit(a, s) { period(a); warns_no_more(a); part[a] = s; mode[a] = EXIT; door[a] = 0; clk[a] = 0; begins(a, OEXIT) }
inline changed(a) { /* row 18 */
  if
  :: SERVED(a) && HAS(2) -> if
    :: ((SERVED(0) && mode[0] == UNSET) || (SERVED(1) && mode[1] == UNSET)) && mode[2] != UNSET -> leaves(2)
    :: mode[2] == UNSET && (!SERVED(0) || mode[0] == SET || mode[0] == ENTRY) && (!SERVED(1) || mode[1] == SET || mode[1] == ENTRY) ->
      some = part[a]; leave_out(2, some);
      if :: ATONCE -> period(2); part[2] = some; mode[2] = SET; begins(2, OSET) :: else -> begins_exit(2, some) fi
    :: else
    fi
  :: else
  fi
}
inline back_unset(a) { if :: mode[a] != UNSET -> leaves(a); changed(a) :: else fi }

/* Rows 3 to 5, 10. */
inline is_set(a) {
  if :: TOPART && STATES > 1 && part[a] == 0 && door[a] == 0 -> part[a] = 1 :: else fi;
  mode[a] = SET; door[a] = 0; clk[a] = 0; begins(a, OSET); changed(a)
}
inline error(a) {
  if
  :: FAILS -> leaves(a); changed(a)
  :: else -> mode[a] = ENTRY; door[a] = 0; starter[a] = 0; clk[a] = 0; changed(a); loud = LOUD(4); sounds(a); entry_begun(a); begins(a, OENTRY); begins(a, OSET)
  fi
}
inline by_act(a) { if :: SETTLE -> door[a] = SETTLING; clk[a] = 0 :: else -> door[a] = 1; is_set(a) fi }
inline starter_trips(z) { if :: FOLLOWED(z) && MOST && trips[z] < MOST -> trips[z]++ :: else fi; quietclk[z] = 0 }
inline entry_over(a) {
  started = starter[a]; mode[a] = SET; starter[a] = 0; clk[a] = 0; changed(a);
  some = 0;
  if :: started >= 2 -> some = started - 1 :: else fi;
  loud = LOUDNOW(a); alarm(a, some);
  if :: REPORT && report[a] == WAITS -> opens_window(a) :: else fi;
  if :: started >= 2 -> starter_trips(started - 2) :: else fi
}

/* An activated zone. */
inline latches(a, c) {
  if :: CONDITIONS -> cond[c] = 1 :: else fi;
  begins(a, OTAMPER + c);
  loud = SOUNDS(2 * c + (mode[a] != UNSET)); sounds(a)
}
inline answer(z, a) { /* rings: an alarm; moved: the area's mode has changed */
  d = NOW(z, a); rings = 0; moved = 0;
  if
  :: d == HOLD -> latches(a, 1)
  :: STILL(d) -> if :: d == CHIME && mode[a] == UNSET -> begins(a, OCHIME) :: d == SOAK -> begins(a, OSOAK) :: else fi
  :: else -> if
    :: mode[a] != UNSET && (inhibited[z] || (MOST && FOLLOWED(z) && trips[z] >= MOST)) ->
      if :: !inhibited[z] -> begins(a, OLOCKED) :: else fi;
      if :: MOST && FOLLOWED(z) && trips[z] >= MOST -> quietclk[z] = 0 :: else fi
    :: else -> if
      :: d == TAMPER -> latches(a, 0)
      :: d == H24 -> counts = counts || mode[a] != UNSET; rings = 1; loud = SOUNDS(4 + (mode[a] != UNSET))
      :: d != TAMPER && d != H24 && mode[a] == UNSET
      :: mode[a] == EXIT && d == FINAL -> if
        :: door[a] == SETTLING -> door[a] = 1; clk[a] = 0
        :: door[a] == 0 -> door[a] = 1
        :: door[a] == 1 && RESTART && TIMED -> door[a] = 2; clk[a] = 0
        :: else
        fi
      :: (mode[a] == EXIT || mode[a] == ENTRY) && d == ROUTE
      :: mode[a] == ENTRY && d == FINAL
      :: mode[a] == EXIT && d == IMM && STOPS -> leaves(a); moved = 1
      :: mode[a] == SET && d == FINAL ->
        mode[a] = ENTRY; starter[a] = ((FOLLOWED(z) || TOGETHER) -> 2 + z : 1); clk[a] = 0; entry_begun(a); begins(a, OENTRY); moved = 1
      :: (d == IMM && !(mode[a] == EXIT && STOPS) && mode[a] != UNSET) || (d == ROUTE && mode[a] == SET) -> counts = 1; rings = 1; loud = LOUDNOW(a)
      fi
    fi
  fi;
  if :: rings -> quietclk[z] = 0; alarm(a, z + 1) :: else fi;
  if :: moved -> changed(a) :: else fi
}
inline answer_at(z, k) {
  if :: ORDER(z, k) != NONE && first[k] -> same = ORDER(z, k); answer(z, same) :: else fi
}
#define UNSETAT(z, k) (ORDER(z, k) != NONE && mode[ORDER(z, k) % 3] == UNSET)
inline activated(z) {
  if :: FOLLOWED(z) && CONTACT(z) -> opened[z] = 1 :: else fi;
  if
  :: power != 0
  :: else ->
    counts = 0;
    some = (ALLSET && ORDER(z, 1) != NONE && (UNSETAT(z, 0) || UNSETAT(z, 1) || UNSETAT(z, 2)));
    first[0] = !some || UNSETAT(z, 0); first[1] = !some || UNSETAT(z, 1); first[2] = !some || UNSETAT(z, 2);
    answer_at(z, 0); answer_at(z, 1); answer_at(z, 2);
    if :: counts && MOST && FOLLOWED(z) -> trips[z]++ :: else fi
  fi
}
#define ENDSBY(z, k) (ORDER(z, k) != NONE && mode[ORDER(z, k) % 3] == EXIT && NOW(z, (ORDER(z, k) % 3)) == FINAL)
inline shuts_at(z, k) {
  if
  :: first[k] -> same = ORDER(z, k); if :: mode[same] == EXIT && door[same] != SETTLING && !INWAY(same) -> by_act(same) :: else fi
  :: else
  fi
}
inline shuts(z) {
  opened[z] = 0;
  if
  :: BYDOOR && power == 0 ->
    first[0] = ENDSBY(z, 0); first[1] = ENDSBY(z, 1); first[2] = ENDSBY(z, 2);
    shuts_at(z, 0); shuts_at(z, 1); shuts_at(z, 2)
  :: else
  fi
}

/* Time. */
#define LASTS(a) (mode[a] == ENTRY -> ENT(a) : (mode[a] == EXIT && TIMED -> EXI(a) : (mode[a] == EXIT && door[a] == SETTLING -> SETTLE : NONE)))
#define REPORTFOR(a) (report[a] == WINDOW -> ABORT : (report[a] == SENT -> CANCEL : (report[a] == HELD -> HOLDBACK : NONE)))
#define SOUNDSFOR(a) (sound[a] -> SOUNDFOR : NONE)
#define CONFIRMFOR(a) (confirm[a] >= 3 -> CONFIRM : NONE)
#define BLINDS (power == BLIND -> BLINDFOR : NONE)
#define WARNSFOR(a) (warns[a] -> WARNING(a) : NONE)
#define DUE(a) (clk[a] == LASTS(a) || warnclk[a] == WARNSFOR(a) || reportclk[a] == REPORTFOR(a) || soundclk[a] == SOUNDSFOR(a) || confirmclk[a] == CONFIRMFOR(a))
#define RUNS(a) (LASTS(a) != NONE || warns[a] || REPORTFOR(a) != NONE || SOUNDSFOR(a) != NONE || CONFIRMFOR(a) != NONE)
inline ticks(a) {
  if :: LASTS(a) != NONE -> clk[a]++ :: else fi;
  if :: warns[a] -> warnclk[a]++ :: else fi;
  if :: REPORTFOR(a) != NONE -> reportclk[a]++ :: else fi;
  if :: SOUNDSFOR(a) != NONE -> soundclk[a]++ :: else fi;
  if :: CONFIRMFOR(a) != NONE -> confirmclk[a]++ :: else fi
}
inline quiets(z) { if :: QUIETENS(z) -> quietclk[z]++ :: else fi }
inline stopped(a) { quietclk[a] = 0; clk[a] = 0; warnclk[a] = 0; reportclk[a] = 0; soundclk[a] = 0; confirmclk[a] = 0 }

inline tidy() { d = 0; counts = 0; rings = 0; loud = 0; moved = 0; first[0] = 0; first[1] = 0; first[2] = 0; started = 0; some = 0; same = 0 }

active proctype control() {
  c_code {
    char *at = getenv("PROGRAMME");
    int number = 0;
    for (at = strtok(at, " "); at; at = strtok(0, " ")) {
      if (number == 122) now.lit = atoi(at) == 6;
      if (number == 123) now.lit = now.lit && atoi(at) == 0;
      said[number++] = atoi(at);
    }
  };
end:
  do
ROWS
  :: d_step { WORKS && !DUE(0) && !DUE(1) && !DUE(2) && !QUIETDUE(0) && !QUIETDUE(1) && !QUIETDUE(2) && !(WALKRUNS && walkclk == WALKFOR) && powerclk != BLINDS && (RUNS(0) || RUNS(1) || RUNS(2) || QUIETENS(0) || QUIETENS(1) || QUIETENS(2) || BLINDS != NONE || LITRUNS || WALKRUNS) ->
       ticks(0); ticks(1); ticks(2); quiets(0); quiets(1); quiets(2); if :: BLINDS != NONE -> powerclk++ :: else fi;
       if :: WALKRUNS -> walkclk++ :: else fi;
       if :: LITRUNS -> litclk++; if :: litclk == OUTFOR -> lit = 0; litclk = 0 :: else fi :: else fi }
  :: d_step { ASKED == 1 && HAS(2) && mode[2] == UNSET && (!SERVED(0) || mode[0] == SET || mode[0] == ENTRY) &&
       (!SERVED(1) || mode[1] == SET || mode[1] == ENTRY) -> assert(false) }
  :: d_step { ASKED == 2 && mode[0] == ENTRY && starter[0] == 0 -> assert(false) }
  :: d_step { ASKED == 3 && MOST && FOLLOWED(0) && IN(0, 0) && trips[0] == MOST && mode[0] != UNSET && report[0] == 0 -> assert(false) }
  :: d_step { ASKED == 4 && warns[0] && memory[0] -> assert(false) }
  :: d_step { ASKED == 6 && walk && (memory[0] || memory[1] || memory[2]) -> assert(false) }
  :: d_step { ASKED == 5 && lit && mode[0] == UNSET -> assert(false) }
  :: d_step { POWER && power != GONE -> power = GONE; stopped(0); stopped(1); stopped(2); powerclk = 0 }
  :: d_step { POWER && power == GONE -> power = (BLINDFOR -> BLIND : 0); stopped(0); stopped(1); stopped(2); powerclk = 0;
       if :: BACKUNSET -> back_unset(0); back_unset(1); back_unset(2) :: else fi }
  :: d_step { power == BLIND && powerclk == BLINDFOR -> power = 0; powerclk = 0 }
  :: d_step { WORKS && FREELY && MOST && FORGETS == 2 -> trips[0] = 0; trips[1] = 0; trips[2] = 0; quietclk[0] = 0; quietclk[1] = 0; quietclk[2] = 0;
       told[0] = 0; told[1] = 0; told[2] = 0 }
  od
}
