//! The whole chain on one screen.

use crate::audit::{Audit, AuditConfig, audit};
use crate::clean::{CleanConfig, Series, clean};
use crate::gait::{GaitConfig, Segmentation, segment};
use crate::notice::Notice;
use crate::prescription::{Plan, Stage};
use crate::read::Recording;

/// Settings of every stage.
#[derive(Clone, Debug, Default)]
pub struct Config {
    /// Of cleaning.
    pub clean: CleanConfig,
    /// Of the gait model.
    pub gait: GaitConfig,
    /// Of the audit.
    pub audit: AuditConfig,
}

/// A recording with its bouts.
#[derive(Clone, Debug)]
pub struct Segmented {
    /// Clean columns.
    pub series: Series,
    /// Bouts.
    pub segmentation: Segmentation,
    /// What was noticed on the way.
    pub notices: Vec<Notice>,
}

/// Recording → bouts.
pub fn segment_recording(recording: &Recording, config: &Config) -> Segmented {
    let mut notices = Vec::new();
    let series = clean(recording, &config.clean).take(&mut notices);
    let segmentation = segment(&series, &config.gait).take(&mut notices);
    Segmented { series, segmentation, notices }
}

/// Bouts and prescription → audit; what is noticed is added to `segmented.notices`.
pub fn audit_recording(segmented: &mut Segmented, plan: &Plan, stage: &Stage, config: &Config) -> Audit {
    audit(&segmented.segmentation, &segmented.series, stage, &plan.runner, &plan.tolerance, &config.audit)
        .take(&mut segmented.notices)
}
