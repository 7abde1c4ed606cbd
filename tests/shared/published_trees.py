"""Fault trees that others published, put down anew in a short notation, with where they are from.

One gate an entry: "a = b & c", "a = b | c", "a = 2 of b c d"; semicolons between entries.
"""

import re


def tree(text: str) -> dict[str, tuple[str | int, list[str]]]:
    """Return gates from the notation."""
    gates: dict[str, tuple[str | int, list[str]]] = {}
    for entry in filter(None, (part.strip() for part in text.replace("\n", " ").split(";"))):
        name, _, logic = (part.strip() for part in entry.partition("="))
        found = re.fullmatch(r"(\d+) of (.+)", logic)
        kind: str | int = int(found[1]) if found else "and" if "&" in logic else "or"
        gates[name] = (kind, re.split(r"[\s&|]+", found[2] if found else logic))
    return gates


# rakhimov/scram, input/Aralia/chinese.txt; 25 events. Its tests/bench_chinese_tree_tests.cc: 392 cut sets, by size
# 12 of 2, 24 of 4, 188 of 5, 168 of 6; with 0.02 for each event (input/Chinese/chinese-basic-events.xml) 0.0045691,
# ± 1e-5.
CHINESE = tree("""
r1 = g1 & g2; g1 = e1 | e2 | e3 | g3; g2 = g4 & g5; g3 = g6 & g7; g4 = e4 | e5 | e6 | e7 | g8; g5 = e8 | g9; g6 = e9
| e10 | e11 | g10; g7 = e12 | e13; g8 = g11 & g12; g9 = g13 & g14; g10 = g15 & g16; g11 = e14 | e15 | e16 | g17; g12
= g18 & g19; g13 = e1 | e2 | e3 | g20; g14 = e4 | e5 | e6 | e7 | g21; g15 = e17 | e18; g16 = e19 | e20 | e21; g17 =
g22 & g23; g18 = e22 | e23; g19 = e24 | e25; g20 = g24 & g25; g21 = g26 & g27; g22 = e17 | e18 | e21; g23 = e19 |
e20; g24 = e14 | e15 | e16 | g28; g25 = g29 & g30; g26 = e9 | e10 | e11 | g31; g27 = e12 | e13; g28 = g32 & g33; g29
= e22 | e23; g30 = e24 | e25; g31 = g34 & g35; g32 = e17 | e18 | e21; g33 = e19 | e20; g34 = e19 | e20 | e21; g35 =
e17 | e18
""")

# rakhimov/scram, input/Aralia/baobab1.txt; 61 events. Its tests/bench_baobab1_tests.cc: 2684 cut sets of up to
# 6 events, by size 1 of 2, 1 of 3, 70 of 4, 400 of 5, 2212 of 6. All together 46188: from memory (Aralia benchmark).
BAOBAB_1 = tree("""
r1 = g1 & g2 & g3; g1 = g4 | g5 | g37 | e1; g2 = g25 | g26 | g27; g3 = g4 | g5 | g6 | e1; g4 = 3 of g60 g61 g62 g63;
g5 = 3 of g56 g57 g58 g59; g6 = g7 & g8 & g9 & g10; g7 = g22 | g23 | g17 | g24 | e5; g8 = g19 | g20 | g13 | g21 |
e4; g9 = g15 | g16 | g17 | g18 | e3; g10 = g11 | g12 | g13 | g14 | e2; g11 = e53 & e58; g12 = e53 & e54; g13 = g46 |
e15; g14 = g11 | g32 | e10; g15 = e53 & e59; g16 = e53 & e56; g17 = g47 | e16; g18 = g15 | g33 | e11; g19 = e53 &
e60; g20 = e53 & e55; g21 = g19 | g32 | e12; g22 = e53 & e61; g23 = e53 & e57; g24 = g22 | g33 | e13; g25 = 3 of g80
g81 g82 g83; g26 = g44 | g45 | e14; g27 = 3 of g28 g29 g30 g31; g28 = g22 | g24 | e9; g29 = g19 | g21 | e8; g30 =
g15 | g18 | e7; g31 = g11 | g14 | e6; g32 = g34 & g35; g33 = g36 & g35; g34 = g48 & g49; g35 = g42 | g43; g36 = g50
& g51; g37 = 2 of g38 g39 g40 g41; g38 = g23 | g17 | e5; g39 = g16 | g17 | e3; g40 = g20 | g13 | e4; g41 = g12 | g13
| e2; g42 = 3 of g68 g69 g70 g71; g43 = 3 of g64 g65 g66 g67; g44 = 3 of g76 g77 g78 g79; g45 = 3 of g72 g73 g74
g75; g46 = g52 & g53; g47 = g54 & g55; g48 = g20 | e19; g49 = g12 | e17; g50 = g23 | e20; g51 = g16 | e18; g52 = g20
| e31; g53 = g12 | e29; g54 = g23 | e32; g55 = g16 | e30; g56 = g23 | e24; g57 = g20 | e23; g58 = g16 | e22; g59 =
g12 | e21; g60 = g23 | e28; g61 = g20 | e27; g62 = g16 | e26; g63 = g12 | e25; g64 = g22 | e36; g65 = g19 | e35; g66
= g15 | e34; g67 = g11 | e33; g68 = g22 | e40; g69 = g19 | e39; g70 = g15 | e38; g71 = g11 | e37; g72 = g22 | e44;
g73 = g19 | e43; g74 = g15 | e42; g75 = g11 | e41; g76 = g22 | e48; g77 = g19 | e47; g78 = g15 | e46; g79 = g11 |
e45; g80 = g22 | e52; g81 = g19 | e51; g82 = g15 | e50; g83 = g11 | e49
""")

# rakhimov/scram, input/BSCU/BSCU.xml, tests/bench_bscu_tests.cc: a brake system control unit.
BSCU = tree("""
loss = monitor | both | switch; both = system_1 & system_2; system_1 = electronic_1 | supply_1;
system_2 = electronic_2 | supply_2; switch = at_1 | stuck_between | at_2; at_1 = system_1 & stuck_at_1;
at_2 = system_2 & stuck_at_2
""")

# rakhimov/scram, input/ThreeMotor/three_motor.xml: NUREG-0492 chapter IX. KT1, KT2 and KT3 are events here as well,
# which its file takes as true.
THREE_MOTOR = tree("""
E1 = E2 & E3; E2 = K5 | E4; E4 = t.E1 & E6; E6 = T2 | K5; E3 = K2 | E5; E5 = T1 | E8; E8 = K1 | E9; E9 = E10 | E11;
E10 = KT1 & KT3 & E12; E12 = KT2 | T4; E11 = S1 | T3; t.E1 = K1 | t.E2; t.E2 = t.E3 | t.E4; t.E4 = S1 | T1inc;
t.E3 = t.E5 & t.E6 & t.E7; t.E5 = KT1inc | T2inc; t.E6 = KT2inc | T3inc; t.E7 = KT3inc | T4inc
""")

# rakhimov/scram, input/Lift/lift.xml, tests/bench_lift_tests.cc: a lift's door; 12 single events are its cut sets.
LIFT = tree("""
LiftDoor = LiftStartDoorOpen | DoorOpensInMotion | DoorRefuses | OR_1;
LiftStartDoorOpen = LMD_1 | DPD_1 | AND_1 | DoorMotorSlow; AND_1 = DM_1 & DPD_1; DoorMotorSlow = PS_1 | DoorHindered;
DoorHindered = DOD_1 | D_1; DoorOpensInMotion = DMS_2 | AND_2 | AND_3; AND_2 = UncommandedDoorOpen & MotionDetector;
UncommandedDoorOpen = W_1 | CP_1 | DMS_2; MotionDetector = LMD_1 & LMD_1_1; AND_3 = CP_1 & MotionDetector;
DoorRefuses = CP_1 | LMD_2 | LPD_1 | DoorMotor; DoorMotor = DM_1 | PS_1; OR_1 = DOD_1 | DOD_2 | DMS_1
""")

# rakhimov/scram, input/ne574/ne574.xml, tests/bench_ne574_tests.cc: lecture 8 of NE 574, University of Wisconsin.
NE574 = tree("System = TrainOne & TrainTwo; TrainOne = A | B | C; A = F | G; TrainTwo = C | D | E; E = H & I")

# NUREG-0492 (Vesely, Goldberg, Roberts, Haasl 1981), fig. VIII-14: the pressure tank.
PRESSURE_TANK = tree("E1 = T | E2; E2 = K2 | E3; E3 = S & E4; E4 = S1 | E5; E5 = K1 | R")

# NUREG-0492 fig. VII-10.
SHARED_EVENTS = tree("T = E1 & E2; E1 = A | E3; E3 = B | C; E2 = C | E4; E4 = A & B")

# rakhimov/scram, tests/input/fta/correct_tree_input_with_probs.xml.
TWO_TRAINS = tree("TopEvent = TrainOne & TrainTwo; TrainOne = ValveOne | PumpOne; TrainTwo = ValveTwo | PumpTwo")

# NASA Fault Tree Handbook with Aerospace Applications (Stamatelatos et al. 2002), in the FFORT collection as "csd".
COMPRESSION_SEALS = tree("""
Leak = Common | Independent; Common = TapeContaminated & CommonCause; Independent = MetalSeal & Seals & FusedPlug;
Seals = Seal1 & Seal2
""")

# Mentes and Helvacioglu, Ocean Engineering 2011, doi 10.1016/j.oceaneng.2010.11.003; FFORT "SMS_A1".
MOORING = tree("""
Failure = TopAnchor | BottomAnchor | Line | Buoy | Human | Handling; BottomAnchor = North | South | East | West;
Human = Ship | Land
""")

# Flammini, Mazzocca, Iacono, Marrone, HASE 2005, doi 10.1109/HASE.2005.26; FFORT "rbc": a radio block centre.
RADIO_BLOCK_CENTRE = tree("""
RBC = Power | WAN | Bus | GSMR | TMR; Power = PSU1 & PSU2 & PSU3; WAN = WAN1 & WAN2; Bus = Bus1 & Bus2;
GSMR = GSMR1 & GSMR2; TMR = CPUs | Voter; CPUs = 2 of CPU1 CPU2 CPU3; Voter = FPGA1 & FPGA2
""")
