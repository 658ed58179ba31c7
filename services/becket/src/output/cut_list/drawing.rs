//! A list or a plan as bars and reels, before it is drawn.

use std::collections::BTreeMap;

use becket_api::cutting::{CutList, PlanCutsRequest, PlanCutsResponse, SegmentKind, StepKind, StepState};
use becket_plot::{BarPart, CoilBar, CutPicture, ReelSpan, Stretch};

use crate::output::{WireNames, measures::mm};

/// One step, of a list or of a plan.
struct Event<'a> {
    kind: StepKind,
    coil_id: &'a str,
    reel_position: i32,
    serial: Option<usize>,
    /// Steps of a list that it stands for.
    width: u32,
}

/// The picture of a list. What is done is shown as it was, what is pending as it is planned.
pub(crate) fn list_picture(list: &CutList, wires: &WireNames, reel_positions: Option<u32>) -> CutPicture {
    let serials: Vec<String> = list.serials.iter().map(|serial| serial.serial_id.clone()).collect();
    let serial_of = |id: &str| serials.iter().position(|serial| serial == id);
    let mut coils: Vec<(String, CoilBar, i64)> = Vec::new();
    for step in &list.steps {
        let place = coils.iter().position(|(id, ..)| *id == step.coil_id).unwrap_or_else(|| {
            let detail = format!("{}, {}", wires.of(&step.wire_id), step.lot_id);
            let bar = CoilBar { label: step.coil_id.clone(), detail, parts: Vec::new() };
            coils.push((step.coil_id.clone(), bar, 0));
            coils.len() - 1
        });
        let Some((_, bar, left)) = coils.get_mut(place) else { continue };
        let stretch = match StepKind::try_from(step.kind) {
            Ok(StepKind::Mount) => Stretch::Trim,
            Ok(StepKind::Cut) if step.state == i32::from(StepState::Spoiled) => Stretch::Scrap,
            Ok(StepKind::Cut) => serial_of(&step.serial_id).map_or(Stretch::Scrap, Stretch::Pieces),
            _ => Stretch::Scrap,
        };
        add(bar, stretch, step.length_um);
        *left = step.remaining_after_um;
    }
    let events: Vec<Event<'_>> = list
        .steps
        .iter()
        .map(|step| Event {
            kind: step.kind(),
            coil_id: &step.coil_id,
            reel_position: step.reel_position,
            serial: serial_of(&step.serial_id),
            width: 1,
        })
        .collect();
    let title =
        if list.list_id.is_empty() { "Plan".to_owned() } else { format!("Cut list {}", list.list_id) };
    let coils = coils.into_iter().map(|(_, mut bar, left)| {
        add(&mut bar, Stretch::Remnant, left);
        bar
    });
    let coils = coils.collect();
    picture(format!("{title} at {}", list.station_id), serials, coils, &events, reel_positions)
}

/// The picture of a plan that was made from a file.
pub(crate) fn plan_picture(request: &PlanCutsRequest, plan: &PlanCutsResponse) -> CutPicture {
    let serials: Vec<String> = request.serials.iter().map(|serial| serial.serial_id.clone()).collect();
    let places: BTreeMap<&str, usize> = serials.iter().map(String::as_str).zip(0..).collect();
    let bar = |coil: &becket_api::cutting::CoilPicture| {
        let detail = if coil.lot_id.is_empty() {
            coil.wire_id.clone()
        } else {
            format!("{}, {}", coil.wire_id, coil.lot_id)
        };
        let part = |segment: &becket_api::cutting::CoilSegment| BarPart {
            stretch: match segment.kind() {
                SegmentKind::Trim => Stretch::Trim,
                SegmentKind::Remnant => Stretch::Remnant,
                SegmentKind::Cut => places
                    .get(segment.serial_id.as_str())
                    .map_or(Stretch::Scrap, |place| Stretch::Pieces(*place)),
                SegmentKind::Scrap | SegmentKind::Unspecified => Stretch::Scrap,
            },
            length_mm: mm(segment.length_um),
            count: u32::try_from(segment.count).unwrap_or(1).max(1),
        };
        CoilBar { label: coil.coil_id.clone(), detail, parts: coil.segments.iter().map(part).collect() }
    };
    let events: Vec<Event<'_>> = plan
        .steps
        .iter()
        .map(|step| Event {
            kind: step.kind(),
            coil_id: &step.coil_id,
            reel_position: step.reel_position,
            serial: places.get(step.serial_id.as_str()).copied(),
            width: u32::try_from(step.count).unwrap_or(1).max(1),
        })
        .collect();
    let coils = plan.coils.iter().map(bar).collect();
    let reels = u32::try_from(request.reel_positions).ok();
    picture("Plan".to_owned(), serials.clone(), coils, &events, reels)
}

fn add(bar: &mut CoilBar, stretch: Stretch, length_um: i64) {
    if length_um <= 0 {
        return;
    }
    let length_mm = mm(length_um);
    match bar.parts.last_mut() {
        // Lengths are whole micrometres, so equal ones are equal to the bit.
        Some(part) if part.stretch == stretch && part.length_mm.to_bits() == length_mm.to_bits() => {
            part.count += 1
        }
        _ => bar.parts.push(BarPart { stretch, length_mm, count: 1 }),
    }
}

fn picture(
    title: String,
    serials: Vec<String>,
    coils: Vec<CoilBar>,
    events: &[Event<'_>],
    reel_positions: Option<u32>,
) -> CutPicture {
    let (reels, steps) = reels(events);
    let most = reels.iter().map(|span| span.position).max().unwrap_or(1);
    let reel_positions = reel_positions.unwrap_or(most).max(most);
    CutPicture { title, serials, coils, reels, reel_positions, steps, remarks: Vec::new() }
}

/// When each coil is on which reel, and the number of steps in all.
fn reels(events: &[Event<'_>]) -> (Vec<ReelSpan>, u32) {
    let mut spans: Vec<ReelSpan> = Vec::new();
    let mut mounted: BTreeMap<&str, usize> = BTreeMap::new();
    let mut now = 0_u32;
    for event in events {
        let next = now.saturating_add(event.width);
        let position = u32::try_from(event.reel_position).unwrap_or(1).max(1);
        // A coil that is cut and was never mounted was there from the beginning.
        let from = if event.kind == StepKind::Mount { now } else { 0 };
        let place = *mounted.entry(event.coil_id).or_insert_with(|| {
            spans.push(ReelSpan {
                position,
                label: event.coil_id.to_owned(),
                from,
                to: from,
                cuts: Vec::new(),
            });
            spans.len() - 1
        });
        if let Some(span) = spans.get_mut(place) {
            span.to = next;
            if let (StepKind::Cut, Some(serial)) = (event.kind, event.serial) {
                match span.cuts.last_mut() {
                    Some((last, _, to)) if *last == serial && *to == now => *to = next,
                    _ => span.cuts.push((serial, now, next)),
                }
            }
        }
        if event.kind == StepKind::Unmount {
            mounted.remove(event.coil_id);
        }
        now = next;
    }
    // What is not taken off stays to the end.
    for place in mounted.into_values() {
        if let Some(span) = spans.get_mut(place) {
            span.to = now;
        }
    }
    (spans, now)
}
