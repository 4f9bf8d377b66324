//! The expectations: which pass and which fail, and by how much; a click goes there.

use bevy_egui::egui::{self, RichText, ScrollArea, Ui};
use trimproof_harness::judge::{Judgement, Verdict};

use super::PanelState;
use crate::look::colour;
use crate::timeline::{Clock, ExpectationView, SourceState, Timeline};

/// Most expectations that fail whose names a picture shows.
const MOST_NAMED: usize = 2;

/// Draws the list.
pub(super) fn show(ui: &mut Ui, timeline: &Timeline, clock: &mut Clock, state: &mut PanelState) {
    ui.horizontal(|ui| {
        ui.label(RichText::new("expectations").strong());
        if state.chosen.is_some() && ui.button("show all again").on_hover_text("Esc").clicked() {
            state.forget();
        }
    });
    if let Some(view) = state
        .chosen
        .and_then(|index| timeline.expectations.get(index))
    {
        ui.label(RichText::new(detail(view)).small());
    }
    ScrollArea::vertical()
        .id_salt("expectations")
        .auto_shrink([false, false])
        .show(ui, |ui| {
            for index in order(&timeline.expectations) {
                let view = &timeline.expectations[index];
                let chosen = state.chosen == Some(index);
                let response = ui.add(
                    egui::Button::selectable(chosen, line(view, is_over(timeline))).truncate(),
                );
                let mut more = view.formula.clone();
                if let Some(because) = &view.because {
                    more.push_str("\nbecause ");
                    more.push_str(because);
                }
                if response.on_hover_text(more).clicked() {
                    look_at(index, timeline, clock, state);
                }
            }
        });
}

/// The expectation that a picture is about, above its plots.
pub(super) fn caption(ui: &mut Ui, timeline: &Timeline, state: &PanelState) {
    if let Some(view) = state
        .chosen
        .and_then(|index| timeline.expectations.get(index))
    {
        ui.label(line(view, is_over(timeline)).strong());
        ui.label(RichText::new(detail(view)).small());
        ui.separator();
        return;
    }
    let failed = timeline.expectations.iter().filter(|view| view.fails());
    for view in failed.take(MOST_NAMED) {
        ui.add(egui::Label::new(line(view, true)).truncate());
    }
}

/// Goes to an expectation's worst instant and shows what it is about.
pub(super) fn look_at(
    index: usize,
    timeline: &Timeline,
    clock: &mut Clock,
    state: &mut PanelState,
) {
    if let Some(at_s) = state.choose(index, timeline) {
        clock.pause();
        clock.jump(at_s);
    }
}

/// The next expectation that fails after the one that is looked at; the first one if none is.
/// `None` if none fails.
pub(super) fn next_failed(
    views: &[ExpectationView],
    from: Option<usize>,
    back: bool,
) -> Option<usize> {
    let mut failed: Vec<usize> = (0..views.len())
        .filter(|index| views[*index].fails())
        .collect();
    if back {
        failed.reverse();
    }
    let beyond =
        |index: &&usize| from.is_none_or(|from| if back { **index < from } else { **index > from });
    failed.iter().find(beyond).or(failed.first()).copied()
}

/// Those that fail first, else as in the file.
fn order(views: &[ExpectationView]) -> Vec<usize> {
    let mut order: Vec<usize> = (0..views.len()).collect();
    order.sort_by_key(|index| !views[*index].fails());
    order
}

/// Nothing more will come: what is not judged now will not be.
fn is_over(timeline: &Timeline) -> bool {
    !matches!(
        timeline.source_state,
        SourceState::Reading | SourceState::Running
    )
}

fn line(view: &ExpectationView, is_over: bool) -> RichText {
    match &view.judgement {
        None => {
            let word = if is_over {
                Verdict::NotJudged.word()
            } else {
                "to come"
            };
            RichText::new(format!("{word}   {}", view.name)).color(colour::SOFT_INK)
        }
        Some(judgement) => {
            let word = judgement.verdict.word();
            let margin = match judgement.verdict {
                Verdict::Pass | Verdict::Fail if judgement.margin.is_finite() => {
                    format!("  {}", judgement.margin_text())
                }
                _ => String::new(),
            };
            let ink = match judgement.verdict {
                Verdict::Pass => colour::INK,
                Verdict::Fail => colour::VERMILLION,
                Verdict::NotJudged => colour::SOFT_INK,
            };
            RichText::new(format!("{word}{margin}   {}", view.name)).color(ink)
        }
    }
}

fn detail(view: &ExpectationView) -> String {
    let why = |judgement: &Judgement| {
        let decided = || {
            let by = judgement.decided_text();
            (!by.is_empty()).then(|| format!("worst at {:.3} s: {by}", judgement.at_s))
        };
        let missing = judgement.missing_text();
        missing
            .map(|why| format!("not judged: {why}"))
            .or_else(decided)
    };
    let found = view.judgement.as_ref().and_then(why);
    found.unwrap_or_else(|| view.formula.clone())
}

#[cfg(test)]
mod tests {
    use super::*;
    use trimproof_formula::Tested;

    fn view(verdict: Option<Verdict>) -> ExpectationView {
        ExpectationView {
            name: "a".to_owned(),
            formula: String::new(),
            because: None,
            windows_s: Vec::new(),
            signals: Vec::new(),
            judgement: verdict.map(|verdict| Judgement {
                name: "a".to_owned(),
                formula: String::new(),
                because: None,
                verdict,
                missing: Vec::new(),
                margin: 0.0,
                unit: String::new(),
                at_s: 0.0,
                decided_by: String::new(),
                undefined: false,
                share: None,
                equality: false,
                tested: Tested::Yes,
            }),
        }
    }

    #[test]
    fn the_failed_are_gone_through_in_a_ring() {
        use Verdict::{Fail, Pass};
        let all = [Some(Pass), Some(Fail), None, Some(Fail), Some(Pass)].map(view);
        assert_eq!(next_failed(&all, None, false), Some(1));
        assert_eq!(next_failed(&all, Some(1), false), Some(3));
        assert_eq!(next_failed(&all, Some(3), false), Some(1));
        assert_eq!(next_failed(&all, Some(3), true), Some(1));
        assert_eq!(next_failed(&all, Some(1), true), Some(3));
        assert_eq!(next_failed(&all[..1], None, false), None);
        assert_eq!(order(&all), [1, 3, 0, 2, 4]);
    }
}
