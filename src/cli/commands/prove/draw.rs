//! The page and the pictures of a suite.

use crate::commands::pictures::forms;
use std::path::Path;
use trimproof_harness::judge::Judgement;
use trimproof_harness::suite::{Case, Outcome, Picture, plain, write_whole};
use trimproof_harness::trace::Trace;
use trimproof_report::{page, picture};

/// Most broken expectations of one run that are drawn: the first ones show what went wrong, and a
/// page must open on a phone.
const DRAWN_MAX: usize = 4;

/// Draws a complete run: its broken expectations for the page, all of it for the folder of
/// pictures.
pub fn pictures(
    case: &Case,
    trace: &Trace,
    judgements: &[Judgement],
    for_page: bool,
    for_folder: bool,
) -> Vec<Picture> {
    let mut pictures = Vec::new();
    if for_page {
        let broken = judgements
            .iter()
            .enumerate()
            .filter(|(_, judgement)| judgement.fails());
        pictures.extend(broken.take(DRAWN_MAX).map(|(index, judgement)| Picture {
            of: Some(index),
            svg: picture::expectation(case, trace, judgement).map_err(|error| error.to_string()),
        }));
    }
    if for_folder {
        pictures.push(Picture {
            of: None,
            svg: picture::overview(case, trace, judgements).map_err(|error| error.to_string()),
        });
    }
    pictures
}

/// The page of a suite that was run against `controller`; `trouble` is why nothing could be run at
/// all.
pub fn page(
    cases: &[Case],
    outcomes: &[Outcome],
    controller: &str,
    trouble: Option<&str>,
) -> String {
    let version = env!("CARGO_PKG_VERSION");
    page::prove(cases, outcomes, controller, version, trouble)
}

/// Writes the picture of every run, each file whole or not at all; gives what could not be written
/// and why.
pub fn write_all(folder: &Path, outcomes: &[Outcome]) -> Vec<(String, String)> {
    let mut failed = Vec::new();
    for outcome in outcomes {
        let whole = outcome.pictures.iter().find(|picture| picture.of.is_none());
        let Some(picture) = whole else { continue };
        let fail = |why: String| (format!("the picture of {}", outcome.label()), why);
        let files = picture
            .svg
            .as_ref()
            .map_err(Clone::clone)
            .and_then(|svg| forms(svg).map_err(|error| error.to_string()));
        match files {
            Err(why) => failed.push(fail(why)),
            Ok(files) => {
                for (ending, bytes) in files {
                    let file = folder.join(format!("{}.{ending}", outcome.label()));
                    if let Err(error) = write_whole(&file, &bytes) {
                        failed.push((file.display().to_string(), plain(&error)));
                    }
                }
            }
        }
    }
    failed
}
