//! The stored form of a survey.

use super::leaf::{Number, Written};
use super::twins;
use jiff::Timestamp;
use jiff::civil::Date;
use undim_model::{
    DeviceUse, Fact, Flag, FlagCounts, ImportProblem, Measured, Position, ReadAgain, Reasons, SharedKind,
    SharedPart, SourceFile, StationValue, Survey, Text, WithdrawnFile,
};

twins! {
    SurveyTwin = Survey {
        tank: String,
        id: String,
        revision: u32,
        scene: Option<String>,
        replaces: Vec<String>,
        start: Written<Timestamp>,
        end: Written<Timestamp>,
        date: Written<Date>,
        timezone: String,
        sources: Vec<SourceTwin>,
        withdrawn: Vec<WithdrawnTwin>,
        devices: Vec<DeviceTwin>,
        stations: Vec<StationTwin>,
        counts: CountsTwin,
        pumps_on: Option<bool>,
        water_cm: Option<Number>,
        read_again: Vec<ReadAgainTwin>,
        said: Vec<String>,
        tied_to_reference: bool,
    }
    SourceTwin = SourceFile {
        path: Written<Text>,
        blake3: String,
        importer: String,
        importer_version: String,
        rows: u64,
        facts: Vec<FactTwin>,
        problems: Vec<ProblemTwin>,
        remark: Option<String>,
        taken_by: Option<String>,
        notes: Vec<String>,
        renamed: Vec<(String, String)>,
    }
    WithdrawnTwin = WithdrawnFile {
        path: Written<Text>,
        blake3: String,
        why: String,
        when: Written<Timestamp>,
    }
    FactTwin = Fact {
        key: String,
        value: String,
        assumed: bool,
    }
    ProblemTwin = ImportProblem {
        line: u64,
        column: u32,
        text: String,
    }
    DeviceTwin = DeviceUse {
        id: String,
        name: String,
        is_reference: bool,
        declared: bool,
        readings: u64,
        corrections: Vec<String>,
        rezero_percent: Number,
    }
    CountsTwin = FlagCounts {
        good: u64,
        not_evaluated: u64,
        questionable: u64,
        bad: u64,
        missing: u64,
    }
    StationTwin = StationValue {
        station: Written<Text>,
        declared: bool,
        position: Option<PositionTwin>,
        readings: u64,
        used: u64,
        value: Option<MeasuredTwin>,
        device: Written<Text>,
        correction: Written<Text>,
        shared: Vec<SharedTwin>,
        u_place_ppfd: Option<Number>,
        u_tilt_ppfd: Option<Number>,
        gradient_per_cm: Option<[Number; 3]>,
        scatter_percent: Option<Number>,
        flag: Written<Flag>,
        reasons: Written<Reasons>,
    }
    PositionTwin = Position {
        from_left_cm: Number,
        from_bottom_cm: Number,
        from_front_cm: Number,
    }
    MeasuredTwin = Measured {
        ppfd: Number,
        u_own: Number,
        u_shared: Number,
    }
    SharedTwin = SharedPart {
        kind: Written<SharedKind>,
        u_ppfd: Number,
    }
    ReadAgainTwin = ReadAgain {
        station: Written<Text>,
        why: String,
    }
}
