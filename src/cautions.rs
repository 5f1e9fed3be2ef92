//! The usual cautions around firings, as quoted practice with their published source.
//!
//! They are never permission: local codes, the range safety officer and the authority having
//! jurisdiction decide.

use serde::{Deserialize, Serialize};

/// A caution with its published source.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[non_exhaustive]
pub struct Caution {
    /// What to do.
    pub text: String,
    /// Who says so.
    pub source: String,
}

/// What every plant or gains file says of itself.
pub(crate) const MODEL_NOT_CLEARANCE: &str = "This is a model from one rig on one day. It is not a \
     clearance to fly: local codes, the range safety officer and the authority having jurisdiction \
     decide.";

const FIRING: [(&str, &str); 6] = [
    (
        "After a misfire take the interlock out or disconnect the battery, and wait at least 60 s \
         before anyone approaches.",
        "NAR model and high-power rocket safety codes",
    ),
    (
        "Light motors electrically and from a distance, with a safety interlock in series and a \
         switch that returns to off.",
        "NAR model and high-power rocket safety codes",
    ),
    (
        "Fix the motor so that it cannot work loose, clear the exhaust path of anything that burns, \
         keep everyone away from the motor and above all from its exhaust, and never fire indoors.",
        "19 CCR 1038 (California), on ground tests of experimental motors",
    ),
    (
        "If a motor fails on the stand, stay away until debris is down and burning is over.",
        "an open test-stand procedure that follows the NAR manual",
    ),
    (
        "Never fire alone, and have means to put out a fire at hand.",
        "common practice, no source",
    ),
    (
        "Distances, permits and licences are set by local codes and the authority having \
         jurisdiction; nothing printed here is permission.",
        "common practice, no source",
    ),
];

/// Cautions that go with every report of a firing.
#[must_use]
pub(crate) fn of_a_firing() -> Vec<Caution> {
    FIRING
        .iter()
        .map(|(text, source)| Caution {
            text: (*text).to_owned(),
            source: (*source).to_owned(),
        })
        .collect()
}
