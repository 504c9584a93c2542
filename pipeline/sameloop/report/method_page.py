"""The method on one page, for a reader of a report who has nothing else at hand."""

from __future__ import annotations

METHOD = (
    "Each lap is cut into short stretches of road. On each stretch the work at the pedals, less "
    "the drivetrain's loss, less what went into speed (wheels included) and bearings, was spent on "
    "climbing, on rolling (Crr) and on the air (CdA, with the air's own speed and direction) [1]. "
    "The density of the moist air follows CIPM-2007 [2].",
    "The road is the same on every lap. Its height steps are unknowns that all laps of all setups "
    "share, so they cancel in the difference, and no elevation data is needed.",
    "CdA and Crr of every setup, the road, the wind of each ride and lap, a factor for shelter "
    "along the road, and small errors of every declared input (masses, power meter, air, wheel) "
    "are estimated together by generalised least squares [3], linearised again until nothing "
    "moves. The wind of a ride starts from the weather station, brought to rider height, with its "
    "uncertainty. Where the laps say nothing, two weak statements keep the level sane: the mean "
    "Crr of the setups is 0.0045 ± 0.0015 and their mean CdA 0.32 ± 0.15 m² (one standard "
    "deviation).",
    "A gust slows the rider while the power stays, so measured speed and wind go together, which "
    "would bias CdA. The slopes of the model are therefore taken at the speed that the power "
    "predicts without gusts (instrumental variables).",
    "How large gusts, lap-to-lap differences and the noise of power and speed are, the laps tell "
    "themselves, by restricted maximum likelihood [4]. Neighbouring seconds are not counted as "
    "independent.",
    "The uncertainty of a difference follows from all of these and from the declared inputs by "
    "the law of propagation [5]; what both setups share cancels. Intervals use Student's t with "
    "effective degrees of freedom [6], because few laps know their own scatter poorly.",
    "The verdict: the change helped (made it worse) when the whole 95 % interval at the first "
    "speed is a saving (a cost); it is too small to matter when the 90 % interval lies within the "
    "rider's own threshold on both sides [7]; otherwise the laps cannot tell. With several setups, "
    "verdicts are taken from wider intervals, so that all comparisons and effects of parts hold at "
    "once in 95 of 100 studies [8].",
    "Effects of parts: what setups do beyond the first is split into the sum of what their parts "
    "do, by generalised least squares with the joint covariance of the setups. A part that no "
    "setups tell from others is refused by name.",
)

SOURCES = (
    "Martin et al. 1998, Journal of Applied Biomechanics 14:276-291.",
    "Picard, Davis, Gläser, Fujii 2008, Metrologia 45:149-155.",
    "Henderson 1975, Biometrics 31:423-447.",
    "Harville 1977, Journal of the American Statistical Association 72:320-338.",
    "JCGM 100:2008, Guide to the expression of uncertainty in measurement, section 5.",
    "Satterthwaite 1946, Biometrics Bulletin 2:110-114.",
    "Schuirmann 1987, Journal of Pharmacokinetics and Biopharmaceutics 15:657-680.",
    "Hothorn, Bretz, Westfall 2008, Biometrical Journal 50:346-363.",
)

LIMITS = (
    "The interval covers what the laps and the declared uncertainties show. It cannot cover what "
    "went along with the change unseen: another day, other clothes, a brake that rubbed.",
    "A power meter that wanders by more from ride to ride than is declared (power_offset_w) is "
    "taken for the change, and in calm air the laps do not show it: check the zero after each ride "
    "too. Verdicts that hang on it are named among the doubts, if it was not declared; between "
    "setups that were changed within one recording nobody can tell.",
    "CdA is taken as the same at every angle of the wind.",
    "Watts hold for a flat road without wind at the stated speeds and air; at speeds that were "
    "not ridden they rest on the split into CdA and Crr.",
    "Nothing here judges whether a part or position is safe or fits the rider.",
)
