"""What no test is worth: the cautions that the plan sheet, the README and the dashboard show."""

from __future__ import annotations

#: One thing each, in the order in which a rider meets them.
CAUTIONS: tuple[str, ...] = (
    "Torque: after every change check each fastener you touched with a torque wrench, to the "
    "maker's figure, and again after the first lap.",
    "Brakes: before the first lap of every stint check that both brakes bite, the wheels are "
    "seated, the headset is firm and nothing rubs.",
    "Limits: stay within the maker's limits on rotor size, tyre width, tyre pressure (for the tyre "
    "and for the rim), rim and total mass.",
    "Frames and forks: never convert a frame or fork between rim and disc brakes.",
    "Position: narrow bars that hurt neck or shoulders are not an upgrade, and neither is a "
    "position that you cannot brake and steer from.",
    "Eyes: look ahead. Do not ride head down, and do not read the computer in traffic.",
    "Braking: brake, slow or stop whenever the road asks for it; a lap can be repeated.",
    "Road: on public roads the traffic law holds for tests as for any ride. Choose quiet roads, "
    "with lights and a helmet, and give up a lap rather than break a rule.",
    "Who decides: this compares measurements and does not judge whether a part or position is "
    "safe or fits. The maker, a qualified mechanic and the local law come first.",
)
