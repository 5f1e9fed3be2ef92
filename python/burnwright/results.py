"""What results are made of, field by field.

Made from the program's JSON schemas by ``python/tools/result_types.py``; not to be changed by hand. A field that the
record cannot tell is ``None``. Names end in their unit.
"""

from __future__ import annotations

from typing import Any, Literal

from ._record import Named, Quantity, Record


class FiringResult(Record):
    """Everything `result.json` holds.

    burn: When it burnt; `None` for a dry run or when nothing lit.
    cautions: What the numbers must not be taken for, and how to stay unhurt.
    cells: Calibration of each cell.
    chamber: What the pressure in the chamber says; `None` when it was not measured.
    class: Class and label.
    clocks: How the clocks are tied together.
    date: Date of the firing, as written in the firing file.
    findings: Findings of every stage but class and plant, which hold their own.
    firing: Name of the firing file.
    ignition: All motors together.
    impulse: What was delivered.
    inputs: Files it rests on.
    motors: Each motor; `None` for a dry run.
    plant: Plant of each axis.
    record: What the load shows, split into rest, burns and other things; `None` without cells.
    schema: Schema number.
    stand: The stand's ringing; `None` when nothing is known of it.
    thrust: How hard it pushed.
    title: Title of the firing.
    tool: The program that made it.
    warnings: What deserves attention.
    """

    burn: BurnReport | None
    cautions: list[Caution]
    cells: Named[CellReport]
    chamber: ChamberReport | None
    class_: ClassReport | None
    clocks: Named[ClockReport]
    date: str | None
    findings: list[Finding]
    firing: str
    ignition: IgnitionReport | None
    impulse: ImpulseReport | None
    inputs: list[InputReport]
    motors: Named[MotorReport] | None
    plant: Named[AxisPlant]
    record: RecordReport | None
    schema: int
    stand: StandReport | None
    thrust: ThrustReport | None
    title: str
    tool: Tool
    warnings: list[Warning]


class Actuator(Record):
    """Command to nozzle angle. Unknown values are `None`.

    bias_deg: Command that points the nozzle straight, with its sign turned.
    damping_ratio: Damping ratio where the actuator is one of second order; `None` where it is one of first order.
    dead_band: Dead band.
    delay_s: Dead time.
    gain: Nozzle angle per command.
    lag_plus_delay_s: Lag and dead time together: by how much the nozzle trails behind a steady movement. Known better than either, and all that
        is stated of them where the residuals follow the command, so that the model is not the actuator's.
    lag_s: Lag: by how much the nozzle trails behind a steady movement, beside the dead time.
    slew_deg_s: Fastest nozzle movement, when the record shows one.
    travel_deg: Mechanical limit either side.
    """

    bias_deg: Quantity | None
    damping_ratio: Quantity | None
    dead_band: DeadBand
    delay_s: Quantity | None
    gain: Quantity | None
    lag_plus_delay_s: Quantity | None
    lag_s: Quantity | None
    slew_deg_s: Quantity | None
    travel_deg: float | None


class AxisPlant(Record):
    """One axis.

    actuator: Command to nozzle angle.
    covariance: Covariance of the fitted parameters.
    findings: What can be said of it.
    fit: How the fit went.
    flight: The same for the free rocket.
    rig: Nozzle angle to tilt, in the rig; `None` after a dry run.
    systematic: The part of it that another firing of this rig would share.
    """

    actuator: Actuator
    covariance: Covariance
    findings: list[Finding]
    fit: FitReport
    flight: Flight | None
    rig: Rig | None
    systematic: list[SharedTerm]


class BudgetLine(Record):
    """One source of uncertainty of the total impulse.

    kind: Random or systematic.
    share: Its share of the variance, 0 to 1.
    source: What it is.
    u_ns: Its standard uncertainty, N s.
    """

    kind: Literal['random', 'systematic']
    share: float
    source: str
    u_ns: float


class BurnReport(Record):
    """When it burnt.

    action_time_s: The same at 10 % of peak.
    burn_time_s: Between the two.
    burnout_s: Last crossing of it.
    ignition_s: First crossing of the rule's share of peak.
    rule: The rule that begins and ends the burn.
    """

    action_time_s: Quantity | None
    burn_time_s: Quantity | None
    burnout_s: Quantity | None
    ignition_s: Quantity | None
    rule: str


class Caution(Record):
    """A caution with its published source.

    source: Who says so.
    text: What to do.
    """

    source: str
    text: str


class CellReport(Record):
    """One cell's curve, as results show it.

    coefficients: Its coefficients, constant first: raw counts for newtons.
    degree: Degree of the polynomial raw(force).
    hysteresis_n: Largest difference between going up and coming down at one load, N.
    lack_of_fit_p: p-value of the lack-of-fit test.
    lower_limit_factor_n: Lower limit factor of ASTM E74, N.
    lowest_force_class_a_n: Lowest force usable in class A of ASTM E74, N.
    points: Number of points.
    range_n: Smallest and largest force of the points, N.
    residual_sd_n: Standard deviation of the residuals, as force.
    """

    coefficients: list[float]
    degree: int
    hysteresis_n: float | None
    lack_of_fit_p: float | None
    lower_limit_factor_n: float | None
    lowest_force_class_a_n: float | None
    points: int
    range_n: list[float] | None
    residual_sd_n: float | None


class ChamberBudgetLine(Record):
    """One source of uncertainty of one of the results.

    kind: Random or systematic.
    of: Which result, by its name in the report.
    share: Its share of the variance, 0 to 1.
    source: What the source is.
    u: Its standard uncertainty, in the unit of the result.
    """

    kind: Literal['random', 'systematic']
    of: str
    share: float
    source: str
    u: float


class ChamberReport(Record):
    """What the pressure in the chamber says.

    ambient_kpa: Pressure of the air.
    budget: Where the uncertainties come from.
    characteristic_velocity_m_s: Throat area times integral over propellant mass.
    integral_kpa_s: Integral over the burn.
    mean_kpa: Mean over the burn.
    motor: The motor; `None` when the firing file names no motor at all.
    peak_kpa: Largest pressure.
    reads: What the transducer counts from: gauge or absolute. All pressures here are absolute.
    throat_area_mm2: Area of the throat; `None` when its diameter was not given.
    thrust_coefficient: Impulse over throat area times integral.
    window_by: What begins and ends the burn here: thrust, or pressure where several motors burnt.
    window_s: Beginning and end of the integral, s.
    """

    ambient_kpa: Quantity | None
    budget: list[ChamberBudgetLine]
    characteristic_velocity_m_s: Quantity | None
    integral_kpa_s: Quantity | None
    mean_kpa: Quantity | None
    motor: str | None
    peak_kpa: Quantity | None
    reads: str
    throat_area_mm2: Quantity | None
    thrust_coefficient: Quantity | None
    window_by: str
    window_s: list[float]


class ClassReport(Record):
    """What class the firing was.

    comparison: Measured against certified thrust; `None` without certified curves of all that lit.
    findings: Comparisons with the certified values.
    letter: Letter of the impulse of all motors together.
    letters: Every letter that is not improbable, most probable first.
    limits: On which side of the limits of model rockets it lies: beyond them lies high power, which is no fault.
    per_motor: Letter of each motor.
    probability: Probability that the impulse of all motors together lies in that class.
    recognised: Which motors explain the record; `None` without certified curves of all that lit.
    """

    comparison: CurveComparison | None
    findings: list[Finding]
    letter: str | None
    letters: list[LetterProbability]
    limits: list[Finding]
    per_motor: list[MotorClass]
    probability: float | None
    recognised: Recognition | None


class ClockReport(Record):
    """How one clock is tied to another, as results show it: t_to = offset_s + (1 + drift_ppm 1e-6) t_log, each time counted from its own log's
    first row.

    by: The method: edge, offset or shape.
    drift_ppm: Rate difference; `None` when the method cannot see it.
    offset_s: Offset.
    to: The other log.
    """

    by: str
    drift_ppm: Quantity | None
    offset_s: Quantity | None
    to: str


class Covariance(Record):
    """Covariance matrix of parameters.

    matrix: The matrix.
    names: The parameters, in the order of rows and columns.
    """

    matrix: list[list[float]]
    names: list[str]


class CurveComparison(Record):
    """Measured against certified thrust.

    band_n: Half width of the 95 % band there, N.
    beyond_percent_of_burn: Share of the burn beyond the band, in per cent of its time.
    impulse_ns: Measured minus certified impulse.
    impulse_percent_of_certified: The same in per cent of the certified impulse.
    largest_at_s: When that is, s after ignition.
    largest_n: Largest difference, measured minus certified, N.
    largest_percent_of_certified_peak: The largest difference in per cent of the certified peak.
    parts_s: First time beyond the 95 % band, s after ignition; `None` when they never part.
    """

    band_n: float
    beyond_percent_of_burn: float
    impulse_ns: Quantity | None
    impulse_percent_of_certified: float | None
    largest_at_s: float
    largest_n: float
    largest_percent_of_certified_peak: float
    parts_s: float | None


class DeadBand(Record):
    """Dead band of an actuator.

    kind: Its kind; `None` when the record cannot tell.
    width_deg: Its total width, in degrees of command.
    """

    kind: Literal['none', 'dead-zone', 'play'] | None
    width_deg: Quantity | None


class Evidence(Record):
    """One piece of evidence about one motor.

    from: Where it comes from.
    says: What it says, in words.
    weight: Log-likelihood ratio for lit against not lit; positive speaks for lit.
    """

    from_: str
    says: str
    weight: float


class Explanation(Record):
    """One explanation of the record.

    design: The design in its position; `None` for one that is not at hand.
    every_one: Whether all of those are exchanged; otherwise only one of them is.
    in_place_of: Motors of the firing file that it would stand in for; empty where the labels are right.
    log10_odds: Decimal logarithm of the odds of this explanation against the labels (Bayes factor).
    probability: Its probability among those listed, every one as probable beforehand.
    """

    design: str | None
    every_one: bool
    in_place_of: list[str]
    log10_odds: float
    probability: float


class Finding(Record):
    """One judged claim.

    advice: What the reader should know or do.
    claim: What is claimed, as a sentence.
    limits: Lower and upper limit, in the unit of `measured`; `None` for an open side.
    measured: The measured quantity behind it.
    outcome: The outcome.
    probability: Probability that the claim is true; `None` when the rule is not probabilistic.
    rule: The rule, in words.
    source: Where the rule comes from.
    """

    advice: str | None
    claim: str
    limits: list[float | None]
    measured: Quantity | None
    outcome: Literal['holds', 'fails', 'undecided']
    probability: float | None
    rule: str
    source: str


class FitReport(Record):
    """How a fit went.

    assumed: Values that were assumed, not measured, in words.
    command_p: Probability of residuals that follow earlier commands at least this much by chance.
    ended: How the search ended.
    information_bound: Least standard uncertainty that any unbiased estimate from the same readings could have, by parameter (Cramér-Rao); what
        lies above it in a result is correlation, structure, clocks, geometry and thrust calibration.
    residual_sd: Standard deviation of the residuals, by signal; the name ends in the unit.
    samples: Number of readings used.
    seen_from: Measured signals it rests on: nozzle, tilt, rate.
    structures: Structures tried.
    validation_fit_percent: Validation fit: share of the movement explained on data not fitted (NRMSE), in per cent.
    whiteness_p: Probability of residuals at least this correlated if they were white.
    """

    assumed: list[str]
    command_p: float | None
    ended: Literal['converged', 'did not converge: too many steps', 'did not converge: the model is not finite']
    information_bound: Named[float]
    residual_sd: Named[float]
    samples: int
    seen_from: list[str]
    structures: list[Structure]
    validation_fit_percent: float | None
    whiteness_p: float | None


class Flight(Record):
    """The free rocket.

    arm_m: Centre of gravity to swivel point, m.
    effectiveness_per_kg_m: Arm over inertia, 1/(kg m).
    effectiveness_spent_per_kg_m: Arm over inertia with all propellant burnt; `None` when what burns is not known.
    inertia_kg_m2: Moment of inertia about its centre of gravity, kg m2.
    """

    arm_m: Quantity | None
    effectiveness_per_kg_m: Quantity | None
    effectiveness_spent_per_kg_m: Quantity | None
    inertia_kg_m2: Quantity | None


class IgnitionReport(Record):
    """All motors together.

    all_lit: Whether every motor lit.
    lit_count: Most probable number of lit motors.
    probability: Probability that every motor lit.
    stagger_s: Time between the first and the last ignition.
    stagger_torque: What the stagger did to each axis beside which motors sit.
    times_s: When motors lit, the first one first, where it is not known whose times these are; else empty.
    """

    all_lit: Literal['holds', 'fails', 'undecided']
    lit_count: int
    probability: float | None
    stagger_s: Quantity | None
    stagger_torque: list[StaggerTorque]
    times_s: list[Quantity]


class ImpulseReport(Record):
    """What was delivered.

    budget: Where the uncertainty of the total comes from.
    burn_window_ns: Over the burn.
    exhaust_velocity_m_s: Total impulse over propellant mass.
    specific_s: Total impulse over propellant weight at standard gravity.
    total_ns: From first to last measurable thrust.
    """

    budget: list[BudgetLine]
    burn_window_ns: Quantity | None
    exhaust_velocity_m_s: Quantity | None
    specific_s: Quantity | None
    total_ns: Quantity | None


class InputReport(Record):
    """One input file, as results name it.

    duplicated: Rows dropped because their time repeats an earlier one.
    file: The file, relative to the firing file as written there.
    lines_left_out: Lines of a very long log, far from anything that burnt, that were not read.
    longest_gap: The longest gap; `None` when there is none.
    missing_readings: Readings missing in the columns that are used, in rows that are there.
    missing_rows: Rows that the steps between the others leave room for.
    notes: What was found in it, in words.
    out_of_order: Rows dropped because their time lies before an earlier one.
    rate_hz: Rate, from the median step, Hz; `None` when there is no step.
    rows: Rows of readings that have a time.
    rows_read: Lines that are rows of readings.
    rows_used: Rows in the segment of the log that the results rest on.
    sha256: SHA-256 of its bytes.
    step_sd_s: Standard deviation of the steps that are no gaps, s.
    unreadable: Lines after the first row that are no rows: event lines, broken rows, a last line cut off.
    wild: Rows dropped for an impossible time, and outliers of the cells left out.
    without_time: Rows dropped because they have no time.
    """

    duplicated: int
    file: str
    lines_left_out: int
    longest_gap: LongestGap | None
    missing_readings: int
    missing_rows: int
    notes: list[str]
    out_of_order: int
    rate_hz: float | None
    rows: int
    rows_read: int
    rows_used: int
    sha256: str
    step_sd_s: float | None
    unreadable: int
    wild: int
    without_time: int


class LetterProbability(Record):
    """A letter and how probable it is.

    letter: The letter.
    probability: Probability that the true impulse lies in its class.
    """

    letter: str
    probability: float


class LongestGap(Record):
    """The longest gap between two rows.

    length_s: Its length, s.
    line: Line of the row after it, from 1.
    """

    length_s: float
    line: int


class LowPassReport(Record):
    """What the low pass for display and peak did.

    cut_off_hz: Cut-off: 3 dB down there after both runs, Hz.
    impulse_difference_ns: Impulse of the filtered trace less that of the readings over the same time, N s: a check that nothing was lost; the
        impulse itself is never taken from the filtered trace.
    order: Order of the Butterworth filter in each direction.
    peak_lower_by_n: By how much the filtered peak is lower, N.
    resampled: Whether readings had to be put on even steps first.
    step_s: Step of the filtered readings, s.
    unfiltered_peak_n: Peak without the filter, N.
    """

    cut_off_hz: float
    impulse_difference_ns: float
    order: int
    peak_lower_by_n: float
    resampled: bool
    step_s: float
    unfiltered_peak_n: float


class MotorClass(Record):
    """What class one motor was.

    designation: Designation on its label.
    letter: Letter of its measured impulse.
    letters: Every letter that is not improbable, most probable first.
    measured_designation: Designation by this firing, without delay; `None` where its average thrust was not measured.
    motor: The motor's name in the firing file.
    percent_of_class: Where in the class it lies: 0 at the floor, 100 at the top.
    """

    designation: str | None
    letter: str | None
    letters: list[LetterProbability]
    measured_designation: str | None
    motor: str
    percent_of_class: float | None


class MotorReport(Record):
    """What is known of one motor.

    delay_s: From its fire command to that.
    evidence: What says so.
    ignition_s: When its own thrust first reached 5 % of its own peak, a puff that died included.
    lit: The verdict.
    probability: Probability that it lit.
    relight_s: When it lit again after such a puff; `None` where it burnt in one piece.
    total_ns: Its own total impulse.
    """

    delay_s: Quantity | None
    evidence: list[Evidence]
    ignition_s: Quantity | None
    lit: Literal['lit', 'not lit', 'undecided']
    probability: float | None
    relight_s: Quantity | None
    total_ns: Quantity | None


class Recognition(Record):
    """Which motors explain the record.

    as_labelled: Probability that the labels are right.
    designs: Names of the designs that were weighed.
    explanations: Best explanations first, the labels among them.
    """

    as_labelled: float
    designs: list[str]
    explanations: list[Explanation]


class RecordReport(Record):
    """What the load of all cells shows, from its first reading to its last.

    chosen: Why the burn that was reduced is the one, or why none is.
    segments: Its segments in the order of time.
    """

    chosen: str
    segments: list[SegmentReport]


class Rig(Record):
    """Nozzle angle to tilt, in the rig.

    coulomb_rad_per_s2: Dry friction, rad/s2.
    damping_per_s: Damping, 1/s.
    effectiveness_per_kg_m: Tilt acceleration per newton of thrust and radian of nozzle angle, 1/(kg m).
    stiffness_per_s2: Stiffness, 1/s2; positive when the centre of gravity is above the pivot.
    thrust_bias_per_kg_m: Tilt acceleration per newton of thrust with the nozzle straight, 1/(kg m).
    """

    coulomb_rad_per_s2: Quantity | None
    damping_per_s: Quantity | None
    effectiveness_per_kg_m: Quantity | None
    stiffness_per_s2: Quantity | None
    thrust_bias_per_kg_m: Quantity | None


class SegmentReport(Record):
    """A segment of a record.

    area_ns: Rough area over the rests beside it, N s; 0 for a rest.
    confidence: Chance that it is a burn.
    doubts: What speaks against a burn, the weightiest first.
    from_s: When it begins, s on the first log's clock.
    kind: What it is taken for.
    level_n: Height over the rests beside it, N; of a rest its level.
    reduced: Whether it is the burn that was reduced, or a part of it.
    to_s: When it ends, s.
    """

    area_ns: float
    confidence: float
    doubts: list[str]
    from_s: float
    kind: Literal['rest', 'burn', 'unclear', 'ejection', 'knock', 'handling']
    level_n: float
    reduced: bool
    to_s: float


class SharedTerm(Record):
    """One source of error that all firings of a rig share.

    moves: By how much one standard uncertainty of it moves each parameter.
    source: What it comes from.
    """

    moves: Named[float]
    source: str


class StaggerTorque(Record):
    """What a stagger gave one axis.

    angular_impulse_n_m_s: Largest angular impulse, with its sign.
    axis: The axis.
    tilt_rate_rad_s: Tilt rate that it gives the rig; `None` without its moment of inertia.
    """

    angular_impulse_n_m_s: Quantity
    axis: str
    tilt_rate_rad_s: Quantity | None


class StandReport(Record):
    """What is known of the stand's ringing, and what correcting for it changed.

    bandwidth_hz: Bandwidth: up to here the corrected force is right within 3 dB, Hz; `None` when readings come too slowly to correct for
        ringing.
    damping_ratio: Damping ratio; `None` when nothing says it and none was assumed.
    decays: Decays that were fitted; `None` when stated.
    decrement_damping_ratio: Damping ratio by the logarithmic decrement of the same swings, a cross-check.
    each_cell_hz: Natural frequency of each cell, where several ring apart; those above are of the surest.
    from: Where they come from.
    ignition_changed_s: Ringing-corrected less uncorrected ignition, s.
    natural_frequency_hz: Natural frequency along thrust.
    peak_changed_n: Ringing-corrected less uncorrected peak, N.
    """

    bandwidth_hz: float | None
    damping_ratio: Quantity | None
    decays: int | None
    decrement_damping_ratio: float | None
    each_cell_hz: Named[Quantity]
    from_: Literal['stated', 'tap', 'record']
    ignition_changed_s: float | None
    natural_frequency_hz: Quantity | None
    peak_changed_n: float | None


class Structure(Record):
    """One structure that was tried.

    chosen: Whether it was taken.
    dead_band: Its dead band.
    score: Its score (Bayesian information criterion, the second order by its evidence; lower is better).
    second_order: Whether its actuator is one of second order.
    """

    chosen: bool
    dead_band: Literal['none', 'dead-zone', 'play']
    score: float
    second_order: bool


class ThrustReport(Record):
    """How hard it pushed.

    average_n: Burn-window impulse over burn time.
    low_pass: What the low pass did, where one was asked for; the peak is then the filtered one.
    peak_n: Largest thrust.
    """

    average_n: Quantity | None
    low_pass: LowPassReport | None
    peak_n: Quantity | None


class Tool(Record):
    """The program that made a file.

    name: Its name.
    version: Its version.
    """

    name: str
    version: str


class Warning(Record):
    """A warning as it stands in the results file.

    code: A short fixed word for machines.
    file: The file it was noticed in.
    hint: What to do.
    line: The line, from 1.
    text: What was noticed.
    """

    code: str
    file: str | None
    hint: str | None
    line: int | None
    text: str


class PlantFile(Record):
    """The whole file.

    axes: Plant of each axis.
    caution: What the file is, and is not.
    firing: Title and date of the firing.
    schema: Schema number.
    thrust: The thrust it was seen under, for simulation; `None` after a dry run.
    """

    axes: Named[AxisPlant]
    caution: str
    firing: str
    schema: int
    thrust: SampledThrust | None


class SampledThrust(Record):
    """Thrust over time since ignition.

    thrust_n: Newtons.
    time_s: Seconds since ignition.
    """

    thrust_n: list[float]
    time_s: list[float]


class GainsFile(Record):
    """The whole file.

    axes: Gains of each axis.
    caution: What the file is, and is not.
    firing: Title and date of the firing that the plant is from.
    plant: The plant file, as named.
    plant_sha256: SHA-256 of its bytes, in hexadecimal; `None` where it was no file.
    schema: Schema number.
    """

    axes: Named[AxisGains]
    caution: str
    firing: str
    plant: str
    plant_sha256: str | None
    schema: int


class AxisGains(Record):
    """One axis.

    body: Which body the gains are for.
    compared: Fixed gains and gains by thrust, side by side.
    controller: The controller.
    findings: What can be said of it.
    first_tick: Start-up transient of each way of starting.
    late_s: Latency from reading the sensors to the command's leaving, s.
    left_out: Numbers that are not identifiable in the plant file and were left out.
    limit_cycles: The limit cycle that the dead band will keep up, at each end of the thrust range.
    open_loop: The open loop of the best estimate: under the lowest and the highest thrust with fixed gains, once with gains by thrust.
    push: Disturbance response of the best estimate, at each end of the thrust range.
    rules: Published rules for a double integrator, each with its settings or the reason for none.
    schedule: Gains by thrust; `None` for fixed gains.
    start: How the firmware starts the controller.
    thrust_n: Lowest and highest thrust of the design, N.
    """

    body: Literal['flight', 'rig']
    compared: list[Robustness]
    controller: Controller
    findings: list[Finding]
    first_tick: list[StartUpTransient]
    late_s: float
    left_out: list[str]
    limit_cycles: list[ExpectedLimitCycle]
    open_loop: list[OpenLoop]
    push: list[DisturbanceResponse]
    rules: list[RuleResult]
    schedule: Schedule | None
    start: Literal['zero-error', 'seeded', 'measurement', 'shipped']
    thrust_n: list[float]


class Controller(Record):
    """Everything that defines a controller.

    derivative: Where the derivative comes from.
    filter_s: Time constant of the derivative's filter, s.
    glide_s: Fade time: time constant with which the offset of a bumpless start decays, s; 0 for none.
    kd_s: Degrees of command for each degree per second, s.
    ki_per_s: Degrees of command for each degree of tilt standing for a second, 1/s.
    kp: Degrees of command for each degree of tilt.
    limit_deg: Largest command either side, deg.
    period_s: Period of the loop, s.
    set_point_weight: Weight of the set point in the proportional part.
    slew_deg_s: Fastest change of the command, deg/s; none when it may jump.
    tracking_s: Time in which the integral follows a command that ran into a limit, s.
    """

    derivative: Literal['rate', 'difference']
    filter_s: float
    glide_s: float
    kd_s: float
    ki_per_s: float
    kp: float
    limit_deg: float
    period_s: float
    set_point_weight: float
    slew_deg_s: float | None
    tracking_s: float


class DisturbanceResponse(Record):
    """Disturbance response: tilt after a step disturbance as large as one degree of nozzle.

    thrust_n: Under which thrust, N.
    tilt_deg: Tilt, deg.
    time_s: Seconds since the disturbance began.
    """

    thrust_n: float
    tilt_deg: list[float]
    time_s: list[float]


class ExpectedLimitCycle(Record):
    """A limit cycle to expect.

    cycle: The limit cycle; `None` when the loop comes to rest.
    thrust_n: Under which thrust, N.
    tilt_deg: Amplitude of the tilt, deg.
    """

    cycle: LimitCycle | None
    thrust_n: float
    tilt_deg: float | None


class Ideal(Record):
    """Settings in ideal form.

    kp: Gain.
    td_s: Derivative time, s; none without a derivative.
    ti_s: Integral time, s; none without an integral.
    """

    kp: float
    td_s: float | None
    ti_s: float | None


class LimitCycle(Record):
    """A limit cycle.

    command_deg: Amplitude of the command, deg.
    rad_s: Frequency, rad/s.
    tilt_deg: Amplitude of the tilt, deg.
    """

    command_deg: float
    rad_s: float
    tilt_deg: float


class Margins(Record):
    """Margins of one loop.

    delay_s: Delay margin: the additional dead time that makes it unstable, s.
    gain_crossover_rad_s: Where |L| is 1 with the smallest phase margin, rad/s.
    gain_down: Lower gain margin, the factor to which gain may fall; none when it may fall to nothing.
    gain_up: Upper gain margin, a factor; none when the loop never becomes unstable as gain rises.
    phase_crossover_rad_s: Frequency of that crossing, rad/s.
    phase_deg: Phase margin, deg; none when |L| is never 1.
    sensitivity_peak: Largest 1/|1 + L|.
    stable: Whether the closed loop is stable; the other numbers are to be read only then.
    """

    delay_s: float | None
    gain_crossover_rad_s: float | None
    gain_down: float | None
    gain_up: float | None
    phase_crossover_rad_s: float | None
    phase_deg: float | None
    sensitivity_peak: float
    stable: bool


class OpenLoop(Record):
    """An open loop, frequency by frequency.

    gain_db: Gain, decibel.
    phase_deg: Phase without jumps, deg.
    rad_s: Frequency, rad/s.
    thrust_n: Under which thrust, N.
    """

    gain_db: list[float]
    phase_deg: list[float]
    rad_s: list[float]
    thrust_n: float


class Robustness(Record):
    """Margins of a set of gains over thrust and sampled plants.

    chosen: Whether it is the one handed over.
    controller: The controller.
    disturbance: Disturbance response as a norm: root of the squared area of tilt after a step disturbance of one degree of nozzle, of the best
        estimate at the worst thrust, deg s^(1/2).
    draws: Number of sampled plants.
    fifth_percentile: Met or passed by 95 % of the sampled plants, each at its worst thrust.
    gains: `fixed` or `by thrust`.
    nominal: Best estimate of the plant, worst thrust of the range.
    stable_share: Share of them that is stable at every thrust.
    unstable_corner: Where it was unstable, in words; `None` when nowhere.
    worst: Worst over all sampled plants and thrusts.
    """

    chosen: bool
    controller: Controller
    disturbance: float
    draws: int
    fifth_percentile: Margins
    gains: str
    nominal: Margins
    stable_share: float
    unstable_corner: str | None
    worst: Margins


class RuleResult(Record):
    """A published rule on this plant.

    margins: Margins at the middle of the thrust range.
    refused: Why it was refused.
    rule: Its name.
    settings: Its settings; `None` when it was refused.
    source: Its source.
    """

    margins: Margins | None
    refused: str | None
    rule: str
    settings: Ideal | None
    source: str


class Schedule(Record):
    """Factor of all gains over time since ignition: reference thrust over the thrust of the record, straight lines between the points.

    factor: Factor.
    reference_n: Thrust at which the factor is 1, N.
    time_s: Seconds since ignition.
    """

    factor: list[float]
    reference_n: float
    time_s: list[float]


class StartUpTransient(Record):
    """Start-up transient of one way of starting.

    command_deg: First command, deg.
    commands_deg: The first commands in the closed loop, one each period, deg.
    initialisation_share: Share of what is wanted that is derivative kick.
    kick_deg: Derivative kick: command on top of what the tilt asks for, within the limit, deg.
    kick_tilt_deg: Largest tilt that the kick causes, deg.
    share_of_limit: Its share of the largest command.
    start: How it was started.
    tilt_deg: Tilt at the first tick, deg.
    wanted_deg: First command before any limit, deg.
    """

    command_deg: float
    commands_deg: list[float]
    initialisation_share: float
    kick_deg: float
    kick_tilt_deg: float
    share_of_limit: float
    start: Literal['zero-error', 'seeded', 'measurement', 'shipped']
    tilt_deg: float
    wanted_deg: float


class SimulationFile(Record):
    """The whole file.

    axes: Each axis flown.
    caution: What the file is, and is not.
    gains: The gains file, as named.
    left_out: What the simulation leaves out.
    plant: The plant file, as named.
    schema: Schema number.
    """

    axes: Named[AxisSimulation]
    caution: str
    gains: str
    left_out: list[str]
    plant: str
    schema: int


class AxisSimulation(Record):
    """One axis.

    body: Which body turns.
    findings: What can be said of it.
    many: Monte Carlo flights; `None` when none were asked for.
    nominal: The flight with the best estimate of everything and no noise.
    release_s: When it is let go, s after ignition.
    replay: The captive firing, replayed; `None` when none was asked for.
    """

    body: Literal['flight', 'rig']
    findings: list[Finding]
    many: MonteCarloResult | None
    nominal: FlightResult
    release_s: float
    replay: Replay | None


class FlightResult(Record):
    """One flight.

    altitude_m: Altitude at the end of thrust, m; `None` without a mass.
    at_limit: Share of ticks with the command at its limit.
    drift_m: Drift at the end of thrust, m; `None` without a mass.
    largest_command_deg: Largest command, deg.
    largest_tilt_deg: Largest tilt after release, deg.
    last_tilt_deg: Tilt at the end of thrust, deg.
    run: Number of the run; `None` for the nominal one.
    track: The flight itself, thinned.
    """

    altitude_m: float | None
    at_limit: float
    drift_m: float | None
    largest_command_deg: float
    largest_tilt_deg: float
    last_tilt_deg: float
    run: int | None
    track: Track


class MonteCarloResult(Record):
    """What came of them.

    altitude_m: The same of the altitude, m; `None` without a mass.
    beyond: Flights beyond it.
    drift_m: The same of the drift's size, m; `None` without a mass.
    fan: Tilt over time; `None` when nothing was flown.
    largest_tilt_deg: Largest tilt of a flight that 5, 50, 95 and 99 of 100 do not pass, and the largest of all, deg.
    runs: Number of flights.
    seed: Where the random streams start from.
    share_beyond: Their share.
    share_interval: 95 % interval of the share (Clopper & Pearson 1934).
    spreads: What differed.
    tilt_limit_deg: Tilt beyond which a flight counts as lost, deg.
    worst_run: Number of the run with the largest tilt.
    """

    altitude_m: Percentiles | None
    beyond: int
    drift_m: Percentiles | None
    fan: PercentileBand | None
    largest_tilt_deg: Percentiles
    runs: int
    seed: int
    share_beyond: float
    share_interval: list[float]
    spreads: Spreads
    tilt_limit_deg: float
    worst_run: int


class PercentileBand(Record):
    """Tilt over time of many flights, deg.

    bad: Flights beyond the tilt limit, at most a dozen.
    flights: Flights that the band is made of.
    p50_deg: Half of them.
    p5_deg: At each time, 5 of 100 flights tilt less (with its sign), deg.
    p95_deg: 95 of 100.
    shown: Some flights, the worst last.
    time_s: Seconds since ignition.
    """

    bad: list[SampleFlight]
    flights: int
    p50_deg: list[float]
    p5_deg: list[float]
    p95_deg: list[float]
    shown: list[SampleFlight]
    time_s: list[float]


class Percentiles(Record):
    """Order statistics.

    largest: None passes it.
    p5: 5 of 100 stay below.
    p50: Half stay below.
    p95: 95 of 100 stay below.
    p99: 99 of 100 stay below.
    """

    largest: float
    p5: float
    p50: float
    p95: float
    p99: float


class Replay(Record):
    """What the replay shows.

    ahead_explains_percent: Share of that error which the model takes away, in per cent.
    ahead_rms_deg: Root mean square error of the tilt predicted over the horizon, deg.
    closed_deg: New gains under the measured disturbance, deg.
    closed_largest_deg: Largest tilt that the new gains would have let come up under the measured disturbance, deg.
    horizon_s: Horizon of the k-step prediction, s.
    keeps_rate_rms_deg: The same of a rocket that keeps its rate, deg.
    open_deg: Free run, deg.
    open_explains_percent: Share of the recorded tilt's movement that the free run explains, in per cent.
    open_rms_deg: Root mean square of recorded less simulated tilt, free run, deg.
    open_without_drift_rms_deg: What is left of it when a wrong first tilt and rate and a steady disturbance (a parabola over time) are taken
        off, deg.
    push_mean_rad_s2: Mean of the measured disturbance, rad/s2.
    push_sd_rad_s2: Standard deviation of the measured disturbance about its mean, rad/s2.
    recorded_deg: AxisRecord tilt, deg.
    recorded_largest_deg: Largest tilt recorded, deg.
    time_s: Seconds since ignition.
    window_s: From and to, s after ignition.
    with_push_rms_deg: The free run with the measured disturbance: what is left is smoothing.
    """

    ahead_explains_percent: float
    ahead_rms_deg: float
    closed_deg: list[float]
    closed_largest_deg: float
    horizon_s: float
    keeps_rate_rms_deg: float
    open_deg: list[float]
    open_explains_percent: float
    open_rms_deg: float
    open_without_drift_rms_deg: float
    push_mean_rad_s2: float
    push_sd_rad_s2: float
    recorded_deg: list[float]
    recorded_largest_deg: float
    time_s: list[float]
    window_s: list[float]
    with_push_rms_deg: float


class SampleFlight(Record):
    """One of the flights.

    run: Its number.
    tilt_deg: Its tilt at the times of the band, deg.
    """

    run: int
    tilt_deg: list[float]


class Spreads(Record):
    """What differs from flight to flight.

    duration: Standard deviation of a motor's duration, share.
    ignition_s: Standard deviation of each motor's ignition about the record's, s.
    misalignment_deg: Standard deviation of the nozzle's misalignment, deg.
    rate_deg_s: Standard deviation of the rate at release about the given one, deg/s.
    thrust: Standard deviation of a motor's thrust, share.
    tilt_deg: Standard deviation of the tilt at release about the given one, deg.
    """

    duration: float
    ignition_s: float
    misalignment_deg: float
    rate_deg_s: float
    thrust: float
    tilt_deg: float


class Track(Record):
    """A flight over time.

    altitude_m: Altitude, m.
    command_deg: Command, deg.
    drift_m: Drift, m.
    nozzle_deg: Nozzle angle, deg.
    tilt_deg: Tilt, deg.
    time_s: Seconds since ignition.
    """

    altitude_m: list[float]
    command_deg: list[float]
    drift_m: list[float]
    nozzle_deg: list[float]
    tilt_deg: list[float]
    time_s: list[float]


class LookFile(Record):
    """Everything seen in some logs of one firing.

    cells: The columns that are load cells.
    logs: The logs, in the order they were named.
    perhaps_cells: Where that is not sure, the columns that could be.
    schema: Version of the layout of `look --json`.
    ties: What would tie the clock of each later log to that of the first.
    """

    cells: list[CellSeen]
    logs: list[LogLook]
    perhaps_cells: list[CellSeen]
    schema: int
    ties: list[Tie]


class BurnSeen(Record):
    """One burn in one column.

    after_raw: Level at rest after the burn, raw counts; `None` when the record ends too early.
    area_raw_s: Area from rest, raw counts times s.
    end_s: The last one, s.
    falls: Whether readings fall while it burns.
    no_rest_before: Whether the record begins too late to show rest before it.
    onset_s: First reading at or above 5 % of peak, s since the first row of its stretch.
    peak_raw: Largest reading from rest, raw counts; never negative.
    peak_s: When, s.
    rest_raw: Level at rest before the burn, raw counts; that after it when nothing was recorded before.
    stretch: Stretch of the log's clock, from 1.
    """

    after_raw: float | None
    area_raw_s: float
    end_s: float
    falls: bool
    no_rest_before: bool
    onset_s: float
    peak_raw: float
    peak_s: float
    rest_raw: float
    stretch: int


class CellSeen(Record):
    """A column that is a load cell, or could be.

    column: Its place among the columns, from 0.
    log: Its log, by its place in the list from 0.
    why: Why it is taken, or could be.
    """

    column: int
    log: int
    why: Literal['named', 'sum', 'only-burning', 'only-numbers', 'burns', 'moves']


class ColumnLook(Record):
    """What was seen in one column.

    all_burn: It is all burn in some stretch, with no rest on either side to see its zero by.
    burns: Stretches that burn, in the order of the file.
    computed_from: The column of the same log that it was computed from; it is no sensor of its own then.
    greatest: Greatest reading.
    kind: What it does.
    least: Least reading.
    missing_words: Words that stand for a missing reading and no log uses otherwise.
    name: Its name, or its number where the file has no header.
    readings: Readings in the rows that have a time.
    rises_s: Times at which a line of two levels rises, s, in the shown stretch.
    role: What it might be, by its name.
    sum_of: The two columns of the same log that it is the sum of.
    title: What a line above the rows calls it, where it has no name of its own.
    unclear: What may be a burn, and why that is not sure.
    wild: Lone wild readings left out of all of this.
    """

    all_burn: bool
    burns: list[BurnSeen]
    computed_from: str | None
    greatest: float | None
    kind: Literal['clock', 'words', 'constant', 'two-levels', 'steps', 'noise', 'moves', 'burns']
    least: float | None
    missing_words: list[str]
    name: str
    readings: int
    rises_s: list[float]
    role: Role | None
    sum_of: list[str]
    title: str | None
    unclear: list[UnclearSeen]
    wild: int


class EventSeen(Record):
    """A line of a log that is not a row of readings.

    line: Line, from 1.
    text: Its text.
    """

    line: int
    text: str


class LogLook(Record):
    """What was seen in one log.

    clock: Where its times come from.
    columns: Its columns, in the order of the file.
    events: The first lines among the readings that are no readings.
    file: The file, as it was named.
    length_s: How long its longest stretch of unbroken clock is, s.
    no_log: What it is, where it is no log of a recorder.
    notes: What was found in the file, in words.
    sha256: SHA-256 of its bytes, in hexadecimal.
    shown_stretch: The stretch that traces are taken from, from 1: the one that burns, else the longest.
    stretches: Stretches between restarts of the clock; one when there was none.
    tally: Its rows in numbers.
    warnings: What deserves attention.
    """

    clock: Named[Any]
    columns: list[ColumnLook]
    events: list[EventSeen]
    file: str
    length_s: float
    no_log: str | None
    notes: list[str]
    sha256: str
    shown_stretch: int
    stretches: int
    tally: RowTally
    warnings: list[Warning]


class Role(Record):
    """What a column might be.

    axis: The steering axis, when the name says so.
    signal: The signal.
    unit: The unit, when the name says so.
    """

    axis: str | None
    signal: Literal['fire', 'command', 'nozzle', 'tilt', 'rate', 'pressure', 'other', 'force']
    unit: str | None


class RowTally(Record):
    """Numbers of rows and of whatever is the matter with them, and how steady the clock is.

    duplicated: Rows dropped because their time repeats an earlier one.
    lines_left_out: Lines of a very long log, far from anything that burnt, that were not read.
    longest_gap: The longest gap; `None` when there is none.
    missing_readings: Readings missing in the columns that are used, in rows that are there.
    missing_rows: Rows that the steps between the others leave room for.
    out_of_order: Rows dropped because their time lies before an earlier one.
    rate_hz: Rate, from the median step, Hz; `None` when there is no step.
    rows_read: Lines that are rows of readings.
    rows_used: Rows in the segment of the log that the results rest on.
    step_sd_s: Standard deviation of the steps that are no gaps, s.
    unreadable: Lines after the first row that are no rows: event lines, broken rows, a last line cut off.
    wild: Rows dropped for an impossible time, and outliers of the cells left out.
    without_time: Rows dropped because they have no time.
    """

    duplicated: int
    lines_left_out: int
    longest_gap: LongestGap | None
    missing_readings: int
    missing_rows: int
    out_of_order: int
    rate_hz: float | None
    rows_read: int
    rows_used: int
    step_sd_s: float | None
    unreadable: int
    wild: int
    without_time: int


class Tie(Record):
    """Two lines that rise once each, one in the first log and one in another.

    here: Its line.
    log: The other log, by its place in the list from 0.
    there: The line of the first log.
    """

    here: str
    log: int
    there: str


class UnclearSeen(Record):
    """Something in one column that may be a burn or not: `reduce` leaves it undecided until a window is given.

    doubts: What speaks against a burn, the weightiest first; nothing where two like burns stand side by side.
    falls: Whether readings fall in it.
    from_s: When it begins, s since the first row of its stretch.
    height_raw: Height over the baseline, raw counts.
    stretch: Stretch of the log's clock, from 1.
    to_s: When it ends, s.
    """

    doubts: list[str]
    falls: bool
    from_s: float
    height_raw: float
    stretch: int
    to_s: float
