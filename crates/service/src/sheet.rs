//! The job sheet: what was found, what was done and why, for the rider to take along.
//!
//! A sheet is made of finished words and pictures ([`content`]) and becomes either a document for a browser that stands
//! alone ([`html`]) or a PDF ([`pdf`]). The PDF is written here, without a browser: one page where it fits, set a
//! little smaller if need be, otherwise further pages with a heading each. The same sheet gives the same bytes.

mod content;
mod fallback;
mod flow;
mod html;
mod layout;
pub(crate) mod made;
mod pdf;
mod text;

pub use content::{Assumed, Concern, Fact, Gravity, JobSheet, Part, Picture, Setting, Verdict, When};
pub use pdf::SheetFault;

/// The paper a sheet is set for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Paper {
    /// 210 mm x 297 mm (ISO 216).
    #[default]
    A4,
    /// 8.5 in x 11 in (ANSI/ASME Y14.1, size A).
    Letter,
}

impl JobSheet {
    /// The sheet as a document for a browser or its printer; nothing is loaded from anywhere.
    pub fn html(&self, paper: Paper) -> String {
        html::document(self, paper)
    }

    /// The sheet as a PDF.
    ///
    /// # Errors
    /// A picture cannot be read or the document cannot be written; both are faults of this program, not of a request.
    pub fn pdf(&self, paper: Paper) -> Result<Vec<u8>, SheetFault> {
        pdf::document(self, paper)
    }
}
