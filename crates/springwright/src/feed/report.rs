//! What became of a feed: to people and to programs.

use std::fmt;

use serde_json::{Value, json};

use super::intake::Damaged;

/// What became of a feed.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct FeedReport {
    /// The run's name.
    pub(crate) run: String,
    /// Samples in it.
    pub(crate) samples: i64,
    /// Blocks in it.
    pub(crate) blocks: i64,
    /// Segments in it.
    pub(crate) segments: i64,
    /// Gaps told in it.
    pub(crate) gaps: i64,
    /// Lines that were no samples, since the run began.
    pub(crate) malformed: u64,
    /// The first of them that this feed saw.
    pub(crate) complaints: Vec<Damaged>,
    /// Samples that found no room in the spool.
    pub(crate) lost_samples: u64,
    /// Samples beyond the server's limit.
    pub(crate) beyond_limit: i64,
    /// How many times the connection to the server was made again.
    pub(crate) reconnects: u64,
    /// How many times the connection to the tester was made again.
    pub(crate) source_reconnects: u64,
    /// Whether an earlier feed had begun the run.
    pub(crate) resumed: bool,
}

impl FeedReport {
    /// For programs. Fields are only ever added.
    pub(crate) fn to_json(&self) -> Value {
        let complaint = |damaged: &Damaged| json!({ "line": damaged.line, "reason": damaged.complaint.to_string() });
        json!({
            "run": self.run,
            "sampleCount": self.samples,
            "blockCount": self.blocks,
            "segmentCount": self.segments,
            "gapCount": self.gaps,
            "malformedLineCount": self.malformed,
            "malformedLines": self.complaints.iter().map(complaint).collect::<Vec<_>>(),
            "lostSampleCount": self.lost_samples,
            "beyondLimitSampleCount": self.beyond_limit,
            "reconnectCount": self.reconnects,
            "sourceReconnectCount": self.source_reconnects,
            "resumed": self.resumed,
        })
    }
}

impl fmt::Display for FeedReport {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(f, "{}", self.run)?;
        writeln!(
            f,
            "{} samples in {} blocks, {} segments, {} gaps, {} malformed lines",
            self.samples, self.blocks, self.segments, self.gaps, self.malformed
        )?;
        for damaged in &self.complaints {
            writeln!(f, "  line {}: {}", damaged.line, damaged.complaint)?;
        }
        if self.lost_samples > 0 {
            writeln!(f, "LOST: {} samples found no room in the spool", self.lost_samples)?;
        }
        if self.beyond_limit > 0 {
            writeln!(f, "LOST: {} samples beyond the server's limit", self.beyond_limit)?;
        }
        write!(
            f,
            "{} reconnects to the server, {} to the source{}",
            self.reconnects,
            self.source_reconnects,
            if self.resumed {
                "; taken up after an interruption"
            } else {
                ""
            }
        )
    }
}
