//! The page and the pictures of a measured stick.

use super::figures::{Titled, tables};
use super::report::{CAUTION, FeelReport, Stick};
use super::verdicts;
use crate::commands::pictures;
use std::path::Path;
use trimproof_controller::Controller;
use trimproof_feel::figures::SweepFigures;
use trimproof_feel::judge::{FeelVerdict, sides};
use trimproof_feel::record::{Condition, Response, Sweep};
use trimproof_plant::rig::{FeelCondition, FeelTarget};
use trimproof_report::page::{self, Block, Figure, Page, Section, Table, Tone};
use trimproof_report::picture::{
    self, ForceLoop, ForceTarget, ForceTolerance, FreeResponse, Loop, PictureError, Step,
};

/// A picture with the name of its file.
pub struct Drawn {
    name: String,
    figure: Figure,
}

/// Draws every sweep and every response.
///
/// # Errors
/// If something cannot be drawn.
pub fn pictures(report: &FeelReport<'_>) -> Result<Vec<Drawn>, PictureError> {
    let mut drawn = Vec::new();
    for sweep in &report.stick.record.sweeps {
        drawn.push(sweep_picture(report, sweep)?);
    }
    for response in &report.stick.record.responses {
        drawn.push(response_picture(report, response)?);
    }
    Ok(drawn)
}

/// Writes every picture as SVG and PNG, each file whole or not at all; gives what could not be
/// written and why.
pub fn write_all(folder: &Path, drawn: &[Drawn]) -> Vec<(String, String)> {
    drawn
        .iter()
        .flat_map(|Drawn { name, figure }| pictures::write(folder, name, Ok(&figure.svg)))
        .collect()
}

/// The whole report as one HTML page.
pub fn page(report: &FeelReport<'_>, pictures: Vec<Drawn>) -> String {
    let mut sections = Vec::new();
    let mut judged = |head: String, verdicts: &[FeelVerdict]| {
        if !verdicts.is_empty() {
            sections.push(Section {
                head,
                blocks: vec![Block::Table(verdict_table(verdicts))],
            });
        }
    };
    judged(
        format!("By the targets of the rig {}", report.rig.name),
        &report.targets,
    );
    if let Some(other) = report.other {
        judged(
            format!(
                "Against {}, within the tolerances of 14 CFR part 60, appendix C, table C2A (2019)",
                other.record.source
            ),
            &report.table,
        );
    }
    judged(
        "Rotorcraft criteria, as advice: they decide nothing".to_owned(),
        &report.advice,
    );
    sections.push(Section {
        head: "What was measured".to_owned(),
        blocks: tables(&report.stick.figures)
            .into_iter()
            .map(|titled| Block::Table(figure_table(titled)))
            .chain(report.stick.notes.iter().cloned().map(Block::Text))
            .collect(),
    });
    sections.push(Section {
        head: "Pictures".to_owned(),
        blocks: pictures
            .into_iter()
            .map(|drawn| Block::Figure(drawn.figure))
            .collect(),
    });
    let mut facts = vec![
        (
            "program".to_owned(),
            format!("trimproof {}", env!("CARGO_PKG_VERSION")),
        ),
        ("controller".to_owned(), Controller::identity().to_owned()),
        (
            "rig".to_owned(),
            format!("{}: {}", report.rig.name, report.rig.title),
        ),
        ("measured".to_owned(), report.stick.record.source.clone()),
    ];
    if let Some(other) = report.other {
        facts.push(("against".to_owned(), other.record.source.clone()));
    }
    page::render(&Page {
        title: format!("Feel: {}", report.stick.record.source),
        lead: CAUTION.to_owned(),
        facts,
        sections,
    })
}

fn verdict_table(judged: &[FeelVerdict]) -> Table {
    let (head, rows, bad) = verdicts::cells(judged);
    Table {
        caption: verdicts::sum(judged.iter()),
        head,
        rows,
        tones: bad
            .into_iter()
            .map(|bad| if bad { Tone::Bad } else { Tone::Plain })
            .collect(),
    }
}

fn figure_table(titled: Titled) -> Table {
    let mut rows = titled.rows.into_iter();
    Table {
        caption: titled.title,
        head: rows.next().unwrap_or_default(),
        rows: rows.collect(),
        tones: Vec::new(),
    }
}

fn sweep_picture(report: &FeelReport<'_>, sweep: &Sweep) -> Result<Drawn, PictureError> {
    let (axis, condition) = (sweep.axis, sweep.condition);
    let same = |other: &&Sweep| other.axis == axis && other.condition == condition;
    let other = report
        .other
        .and_then(|stick| Some((stick, stick.record.sweeps.iter().find(same)?)));
    let targets = targets(report, sweep);
    let title = format!(
        "Force against position, {}, {}",
        axis.name(),
        condition.name()
    );
    // The band belongs to what is measured against: the other record, where there is one.
    let own = a_loop(report.stick, sweep);
    let against = other.map(|(stick, sweep)| a_loop(stick, sweep));
    let svg = picture::force_loop(&ForceLoop {
        title: &title,
        reference: against.unwrap_or(own),
        other: against.is_some().then_some(own),
        tolerance: against.is_some().then_some(ForceTolerance::PART_60),
        targets: &targets,
    })?;
    let caption = match other {
        Some((stick, _)) => format!(
            "{title}: {} with its tolerance band (1.0 lb or 10 %, the larger), and {} over it.",
            stick.record.source, report.stick.record.source
        ),
        None => format!("{title}, {}.", report.stick.record.source),
    };
    Ok(Drawn {
        name: format!("sweep-{}-{}", axis.name(), condition.name()),
        figure: Figure { caption, svg },
    })
}

fn a_loop<'a>(stick: &'a Stick, sweep: &'a Sweep) -> Loop<'a> {
    let same = |figures: &&SweepFigures| {
        figures.axis == sweep.axis && figures.condition == sweep.condition
    };
    Loop {
        name: &stick.record.source,
        sweep,
        figures: stick.figures.sweeps.iter().find(same),
    }
}

/// The rig's force bands for this sweep, on both sides.
fn targets(report: &FeelReport<'_>, sweep: &Sweep) -> Vec<ForceTarget> {
    let mut bands = Vec::new();
    for target in &report.rig.feel {
        let FeelTarget::Force {
            axis,
            condition,
            at_deg,
            low_n,
            high_n,
            ..
        } = target
        else {
            continue;
        };
        let meant = match condition {
            FeelCondition::Held => Condition::Held,
            FeelCondition::Released => Condition::Released,
            FeelCondition::Unpowered => Condition::Unpowered,
        };
        if axis.is_some_and(|axis| axis != sweep.axis) || meant != sweep.condition {
            continue;
        }
        for side in [-1.0, 1.0] {
            let (a, b) = (side * low_n, side * high_n);
            bands.push(ForceTarget {
                position_deg: side * at_deg,
                least_n: a.min(b),
                most_n: a.max(b),
            });
        }
    }
    bands
}

fn response_picture(report: &FeelReport<'_>, response: &Response) -> Result<Drawn, PictureError> {
    let side = side_of(response);
    let same = |other: &&Response| {
        other.axis == response.axis
            && other.condition == response.condition
            && side_of(other) == side
    };
    let other = report
        .other
        .and_then(|stick| Some((stick, stick.record.responses.iter().find(same)?)));
    let word = sides(response.axis)[side];
    let title = format!("Let go from {word}, {}", response.axis.name());
    let svg = picture::response(&Step {
        title: &title,
        reference: free(report.stick, response, side),
        other: other.map(|(stick, response)| free(stick, response, side)),
    })?;
    Ok(Drawn {
        name: format!("response-{}-{word}", response.axis.name()),
        figure: Figure {
            caption: format!("{title}, {}.", report.stick.record.source),
            svg,
        },
    })
}

fn free<'a>(stick: &'a Stick, response: &'a Response, side: usize) -> FreeResponse<'a> {
    FreeResponse {
        name: &stick.record.source,
        response,
        figures: stick.figures.responses.iter().find(|figures| {
            figures.axis == response.axis
                && figures.condition == response.condition
                && usize::from(figures.initial_deg > 0.0) == side
        }),
    }
}

/// 0 for a response from the negative side, 1 from the positive.
fn side_of(response: &Response) -> usize {
    let first = response.samples.first().map_or(0.0, |s| s.position_deg);
    let last = response.samples.last().map_or(0.0, |s| s.position_deg);
    usize::from(first > last)
}
