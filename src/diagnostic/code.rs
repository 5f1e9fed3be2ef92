//! What a message is about: a code for each, in one table under the kind of thing that went wrong.
//!
//! Whoever calls the library branches on the kind, seldom on the code; files hold the code's word.

use std::fmt;

use serde::{Deserialize, Serialize};

macro_rules! codes {
    ($( $(#[$doc:meta])* $kind:ident { $( $code:ident = $word:literal, )+ } )+) => {
        /// What kind of thing a message is about.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
        #[non_exhaustive]
        pub enum ErrorKind {
            $( $(#[$doc])* $kind, )+
        }

        /// What a message says, whatever its wording; in files it is the code's word.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
        #[non_exhaustive]
        pub enum Code {
            $( $( #[doc = concat!("`", $word, "`")] #[serde(rename = $word)] $code, )+ )+
        }

        impl Code {
            /// A short fixed word for machines, such as `unknown-key`.
            #[must_use]
            pub const fn word(self) -> &'static str {
                match self {
                    $( $( Self::$code => $word, )+ )+
                }
            }

            /// The kind of thing it is about.
            #[must_use]
            pub const fn kind(self) -> ErrorKind {
                match self {
                    $( $( Self::$code )|+ => ErrorKind::$kind, )+
                }
            }
        }
    };
}

codes! {
    /// A file that cannot be had, or is not whole.
    Io {
        NoFile = "no-file",
        Unreadable = "unreadable",
        IsFolder = "is-folder",
        TooLong = "too-long",
        NoPlainFile = "no-plain-file",
        CutShort = "cut-short",
        Damaged = "damaged",
    }
    /// Nothing can be written there, or it would take the place of something.
    Output {
        CannotWrite = "cannot-write",
        NoFolder = "no-folder",
        SameFolder = "same-folder",
        WouldOverwrite = "would-overwrite",
        Stdout = "stdout",
        CurveWrite = "curve-write",
        FileName = "file-name",
        ManualPage = "man",
        NoPort = "no-port",
        InUse = "in-use",
    }
    /// The file as a whole cannot be understood: not text, not TOML, not JSON of its kind.
    Syntax {
        NotText = "not-text",
        TomlSyntax = "toml-syntax",
        NotItsKind = "not-its-kind",
    }
    /// A key of a file: unknown, missing, at a wrong place.
    Key {
        UnknownKey = "unknown-key",
        MisplacedKey = "misplaced-key",
        MissingKey = "missing-key",
        Undeclared = "undeclared",
        ToComplete = "to-complete",
        Incomplete = "incomplete",
    }
    /// What stands behind a key or in a cell of a table: kind, unit, range, word.
    Value {
        WrongKind = "wrong-kind",
        WrongUnit = "wrong-unit",
        UnknownUnit = "unknown-unit",
        NoUnit = "no-unit",
        NotANumber = "not-a-number",
        OutOfRange = "out-of-range",
        UnknownWord = "unknown-word",
        Implausible = "implausible",
        NoEffect = "no-effect",
    }
    /// Parts of a firing or rehearsal file that do not go together.
    Conflict {
        NamedTwice = "named-twice",
        WhoseChamber = "whose-chamber",
        NothingDescribed = "nothing-described",
        ManyMotors = "many-motors",
        NoCell = "no-cell",
        NoChamber = "no-chamber",
        SameColumn = "same-column",
        SameName = "same-name",
        UnknownLog = "unknown-log",
        UnknownMotor = "unknown-motor",
        UnknownName = "unknown-name",
        NoLog = "no-log",
        TapFirst = "tap-first",
        NoAlignment = "no-alignment",
        CyclicAlignment = "cyclic-alignment",
        StiffStand = "stiff-stand",
        FallsOver = "falls-over",
        TurnsBack = "turns-back",
    }
    /// A recorder's file: its columns, rows and clock.
    Log {
        EmptyLog = "empty-log",
        NotReadings = "not-readings",
        NoRows = "no-rows",
        NoColumn = "no-column",
        UnnamedCells = "unnamed-cells",
        BrokenRows = "broken-rows",
        CutOffLine = "cut-off-line",
        NoTime = "no-time",
        NotATime = "not-a-time",
        NoClock = "no-clock",
        FallingTimes = "falling-times",
        OddStep = "odd-step",
        CoarseStamps = "coarse-stamps",
        ClockGap = "clock-gap",
        ClockRestart = "clock-restart",
        GuessedCounter = "guessed-counter",
        RepeatedTime = "repeated-time",
        OutOfOrder = "out-of-order",
        WildTime = "wild-time",
        AssumedUnit = "assumed-unit",
        AssumedRate = "assumed-rate",
        WildReading = "wild-reading",
        NoReadings = "no-readings",
    }
    /// Clocks of several recorders that cannot be tied, or hardly.
    Alignment {
        NoEdge = "no-edge",
        NoShape = "no-shape",
        OppositeShape = "opposite-shape",
        AmbiguousOffset = "ambiguous-offset",
        NoUncertainty = "no-uncertainty",
        NoOverlap = "no-overlap",
        NoCommonTime = "no-common-time",
    }
    /// Known loads, curves fitted to them, and what they are used for.
    Calibration {
        PointsColumns = "points-columns",
        PointsFew = "points-few",
        MissingReading = "missing-reading",
        TooFewPoints = "too-few-points",
        FlatPoints = "flat-points",
        LackOfFit = "lack-of-fit",
        CurveFile = "curve-file",
        CurveQuantity = "curve-quantity",
        CurveTurns = "curve-turns",
        CellCurve = "cell-curve",
        ScaleZero = "scale-zero",
        BeyondAll = "beyond-all",
        OverCapacity = "over-capacity",
        BeyondPoints = "beyond-points",
        BeyondCurve = "beyond-curve",
    }
    /// The burn in the thrust record.
    Burn {
        NoBurn = "no-burn",
        UnclearBurn = "unclear-burn",
        StatedZero = "stated-zero",
        SeveralBurns = "several-burns",
        CutOff = "cut-off",
        NoRest = "no-rest",
        EmptyWindow = "empty-window",
        WindowMissesBurn = "window-misses-burn",
        WrongWay = "wrong-way",
        UnsoundCell = "unsound-cell",
        FrozenCell = "frozen-cell",
        NothingLit = "nothing-lit",
        NoTap = "no-tap",
        StandUnknown = "stand-unknown",
        LowPassTooHigh = "low-pass-too-high",
    }
    /// Motors: certified data, which of them lit, pressure in the chamber.
    Motor {
        CurveOrder = "curve-order",
        CurveRange = "curve-range",
        CurveLong = "curve-long",
        CurveShort = "curve-short",
        CurveFlat = "curve-flat",
        CurveArea = "curve-area",
        TwoCurves = "two-curves",
        NoCurve = "no-curve",
        NoCurves = "no-curves",
        NoCertificate = "no-certificate",
        MotorsAlike = "motors-alike",
        NoPressure = "no-pressure",
        ChamberNotLit = "chamber-not-lit",
    }
    /// The plant: nozzles and rig, fitted or pooled.
    Plant {
        NoSweep = "no-sweep",
        AxisNotFitted = "axis-not-fitted",
        PlantNotConverged = "plant-not-converged",
        NoPlant = "no-plant",
        NoParameter = "no-parameter",
        NothingShared = "nothing-shared",
    }
    /// Gains and flights: what a plant, a vehicle and gains do not allow.
    Control {
        UnknownPlant = "unknown-plant",
        NoThrust = "no-thrust",
        TooLate = "too-late",
        NoSuchAxis = "no-such-axis",
        NoInertia = "no-inertia",
        NoMotor = "no-motor",
        NoLift = "no-lift",
        LateRelease = "late-release",
        Diverged = "diverged",
        TooMuch = "too-much",
        Shares = "shares",
    }
}

impl fmt::Display for Code {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.word())
    }
}
