//! Trouble that is not fatal, as data: a stage returns what it could make and what it noticed.

/// Where in an input something was found. Every part is optional, since formats differ.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Place {
    /// Offset in bytes from the start of the (unzipped) input.
    pub byte: Option<u64>,
    /// One-based line, for text formats.
    pub line: Option<u64>,
    /// Zero-based index of the record or track point.
    pub record: Option<u64>,
}

impl std::fmt::Display for Place {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let parts: Vec<String> = [
            self.line.map(|n| format!("line {n}")),
            self.record.map(|n| format!("record {n}")),
            self.byte.map(|n| format!("byte {n}")),
        ]
        .into_iter()
        .flatten()
        .collect();
        f.write_str(&parts.join(", "))
    }
}

/// Makes the enum of codes from one table.
macro_rules! notice_codes {
    ($($variant:ident = $word:literal,)*) => {
        /// What kind of trouble a notice tells of. Programs rely on the word; `docs/notices.md` explains each.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
        pub enum NoticeCode {
            $(#[doc = concat!("`", $word, "`")] $variant,)*
        }

        impl NoticeCode {
            /// All codes, in the order of `docs/notices.md`.
            pub const ALL: &[Self] = &[$(Self::$variant,)*];

            /// The stable word in `snake_case`.
            pub const fn word(self) -> &'static str {
                match self {
                    $(Self::$variant => $word,)*
                }
            }
        }
    };
}

notice_codes! {
    RecordingCut = "recording_cut",
    GzipCut = "gzip_cut",
    ZipCut = "zip_cut",
    ZipDamaged = "zip_damaged",
    ZipFileUnreadable = "zip_file_unreadable",
    ZipNamesTwice = "zip_names_twice",
    ZipOtherFiles = "zip_other_files",
    ZipTooMuch = "zip_too_much",
    TooManySamples = "too_many_samples",
    GzipTrailingBytes = "gzip_trailing_bytes",
    ChecksumWrong = "checksum_wrong",
    SizeWrong = "size_wrong",
    FitDamaged = "fit_damaged",
    FieldSizeOdd = "field_size_odd",
    TrailingBytes = "trailing_bytes",
    ClockNotSet = "clock_not_set",
    ClockSetLate = "clock_set_late",
    XmlDamaged = "xml_damaged",
    EntityNotExpanded = "entity_not_expanded",
    EncodingGuessed = "encoding_guessed",
    PointsWithoutTime = "points_without_time",
    TimeWithoutZone = "time_without_zone",
    ValuesUnreadable = "values_unreadable",
    ActivityWithoutSamples = "activity_without_samples",
    StrayTimes = "stray_times",
    NoPulse = "no_pulse",
    CadenceDoubled = "cadence_doubled",
    CadenceAsWritten = "cadence_as_written",
    SeveralActivities = "several_activities",
    NotOnFoot = "not_on_foot",
    SportDoubtful = "sport_doubtful",
    OutOfOrder = "out_of_order",
    OrderDoubtful = "order_doubtful",
    DuplicateTimes = "duplicate_times",
    RecorderPaused = "recorder_paused",
    Holes = "holes",
    PositionSpikes = "position_spikes",
    SpeedRefused = "speed_refused",
    SpeedFromDistance = "speed_from_distance",
    SpeedFromPositions = "speed_from_positions",
    NoSpeed = "no_speed",
    NoCadence = "no_cadence",
    CadenceRefused = "cadence_refused",
    CadenceHalfCorrected = "cadence_half_corrected",
    CadenceDoubleCorrected = "cadence_double_corrected",
    HeartRateRefused = "heart_rate_refused",
    GaitUnknown = "gait_unknown",
    GuessDiffers = "guess_differs",
    GaitDoubtful = "gait_doubtful",
    SlopesUnknown = "slopes_unknown",
    RunnerKnown = "runner_known",
    RunnerNotKnown = "runner_not_known",
    VerdictHangs = "verdict_hangs",
    WithinError = "within_error",
    HoleHidesLength = "hole_hides_length",
    TooMuchUnknown = "too_much_unknown",
    GaitUncertain = "gait_uncertain",
    WalkMayHideRun = "walk_may_hide_run",
    RunMayHideWalk = "run_may_hide_walk",
    NoGaitData = "no_gait_data",
    TooMuchToMatch = "too_much_to_match",
    NoDistance = "no_distance",
    LateStart = "late_start",
    EarlyStop = "early_stop",
    PauseCountsAsRest = "pause_counts_as_rest",
    WalkingShort = "walking_short",
    PaceNotJudged = "pace_not_judged",
    PaceAtCeiling = "pace_at_ceiling",
    HeartRateNotJudged = "heart_rate_not_judged",
    HeartRateFollowsCadence = "heart_rate_follows_cadence",
    CadenceNotJudged = "cadence_not_judged",
    AltitudeAbsent = "altitude_absent",
    AltitudeTooCoarse = "altitude_too_coarse",
    NoDiary = "no_diary",
    NoRecordings = "no_recordings",
    DiaryNoHeader = "diary_no_header",
    DiaryColumn = "diary_column",
    DiaryLine = "diary_line",
    DiaryCell = "diary_cell",
    DiaryDateTwice = "diary_date_twice",
    DiaryFuture = "diary_future",
    StagesLine = "stages_line",
    StagesUnused = "stages_unused",
    SeenLine = "seen_line",
    TableNotUtf8 = "table_not_utf8",
    TableNotReadable = "table_not_readable",
    SeveralPlans = "several_plans",
    FolderTooDeep = "folder_too_deep",
    StageAmbiguous = "stage_ambiguous",
    StageCompletionOpen = "stage_completion_open",
    BeginsLateInPlan = "begins_late_in_plan",
    SessionInParts = "session_in_parts",
    SessionNotRecorded = "session_not_recorded",
    PlanLooserThanRules = "plan_looser_than_rules",
    RosterLinesUnused = "roster_lines_unused",
    FilesPassedOver = "files_passed_over",
    TableNotInPackage = "table_not_in_package",
    NoPartner = "no_partner",
    CoverDiffers = "cover_differs",
    RecordingDiffers = "recording_differs",
    ValuesMissing = "values_missing",
    WorkoutDiffers = "workout_differs",
    WordsCut = "words_cut",
}

impl std::fmt::Display for NoticeCode {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(self.word())
    }
}

/// One thing noticed: a stable code for programs, a sentence for people.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Notice {
    /// What kind of trouble.
    pub code: NoticeCode,
    /// One sentence that says what was found and what was done or what to do.
    pub text: String,
    /// Where, when it is known.
    pub place: Option<Place>,
}

impl Notice {
    /// Makes a notice without a place.
    pub fn new(code: NoticeCode, text: impl Into<String>) -> Self {
        Self { code, text: text.into(), place: None }
    }

    /// Adds the place.
    #[must_use]
    pub fn at(mut self, place: Place) -> Self {
        self.place = Some(place);
        self
    }
}

/// A value with what was noticed while making it.
#[derive(Clone, Debug, PartialEq)]
pub struct Noted<T> {
    /// The value.
    pub value: T,
    /// What was noticed, in the order of finding.
    pub notices: Vec<Notice>,
}

impl<T> Noted<T> {
    /// Wraps a value about which there is nothing to say.
    pub fn plain(value: T) -> Self {
        Self { value, notices: Vec::new() }
    }

    /// Takes the value out and moves its notices to the end of `into`.
    pub fn take(self, into: &mut Vec<Notice>) -> T {
        into.extend(self.notices);
        self.value
    }
}
