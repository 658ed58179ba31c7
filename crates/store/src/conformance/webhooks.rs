//! Receivers of events by HTTP.

use super::Factory;
use super::samples::{ctx, page, text, told, wire};
use crate::{
    DeadLetter, JournalStore, Kind, NewWebhook, Outcome, Outdated, SigningKey, StoreError, StoredWebhook,
    StringStore, WebhookProgress, WebhookStore,
};

const SECOND_US: i64 = 1_000_000;

fn hook(id: &str) -> NewWebhook {
    NewWebhook {
        webhook_id: id.to_owned(),
        url: "https://erp.example/becket".to_owned(),
        types: vec!["a".to_owned(), "b".to_owned()],
        subject_prefix: "coils/".to_owned(),
        secret: SigningKey("0123456789abcdef".to_owned()),
    }
}

fn at(told_sequence: i64) -> WebhookProgress {
    WebhookProgress { told_sequence, ..WebhookProgress::default() }
}

fn letter(sequence: i64, queued: bool) -> DeadLetter {
    DeadLetter { sequence, queued, attempts: 3, failed_us: 9, last_error: "answered 500".to_owned() }
}

async fn create(store: &impl WebhookStore, id: &str) -> StoredWebhook {
    let (answer, created) = told();
    store.create_webhook(&ctx(&format!("create {id}")), hook(id), answer).await.unwrap();
    created()
}

async fn all(store: &impl WebhookStore) -> Vec<StoredWebhook> {
    store.list_webhooks(&page(100, None)).await.unwrap().items
}

async fn letters(store: &impl WebhookStore, queued: bool) -> Vec<i64> {
    let letters = store.list_letters("erp", queued, &page(100, None)).await.unwrap().items;
    letters.iter().map(|letter| letter.sequence).collect()
}

/// A receiver with a letter, and the lease.
pub(super) async fn fill(store: &impl WebhookStore) {
    let created = create(store, "erp").await;
    let fence = store.take_lease("a", 0, SECOND_US).await.unwrap().unwrap();
    let from = created.progress.told_sequence;
    let outcome = Outcome::LaidAside(at(from + 1), letter(from + 1, false));
    assert!(store.note_outcome(fence, "erp", from, &outcome).await.unwrap());
}

pub async fn receivers_are_kept_and_removed(factory: &impl Factory) {
    let store = factory.open().await;
    store.import_wires(&ctx("w"), vec![wire("a", "1"), wire("b", "1")], text()).await.unwrap();
    let created = create(&store, "erp").await;
    assert_eq!((&created.webhook, created.gone, created.created_us), (&hook("erp"), false, 1_000_000));
    assert_eq!(created.progress, at(2), "it is told what comes after it");
    let taken = store.create_webhook(&ctx("again"), hook("erp"), text()).await;
    assert!(matches!(taken, Err(StoreError::AlreadyExists { kind: Kind::Webhook, .. })), "{taken:?}");
    create(&store, "crm").await;
    let first = store.list_webhooks(&page(1, None)).await.unwrap();
    assert_eq!(first.items[0].webhook.webhook_id, "crm");
    let second = store.list_webhooks(&page(1, first.next.as_deref())).await.unwrap();
    assert_eq!((&second.items[0], second.next), (&created, None));
    // The journal tells who is told, and nothing of the key.
    let entries = store.entries(2, 100, Some("webhooks/erp")).await.unwrap();
    let after = entries[0].after.as_deref().unwrap();
    assert!(after.contains("erp.example") && !after.contains("0123456789abcdef"), "{after}");
    store.delete_webhook(&ctx("d"), "erp", text()).await.unwrap();
    assert_eq!(all(&store).await.len(), 1);
    let missing = store.delete_webhook(&ctx("d2"), "erp", text()).await;
    assert!(matches!(missing, Err(StoreError::NotFound { kind: Kind::Webhook, .. })), "{missing:?}");
    assert!(!format!("{:?}", hook("erp")).contains("0123456789abcdef"));
}

pub async fn one_holds_the_lease(factory: &impl Factory) {
    let store = factory.open().await;
    let take = async |holder: &str, ttl_us: i64| store.take_lease(holder, SECOND_US, ttl_us).await.unwrap();
    assert_eq!(take("a", 3600 * SECOND_US).await, Some(1));
    assert_eq!(take("b", 3600 * SECOND_US).await, None);
    assert_eq!(take("a", 3600 * SECOND_US).await, Some(1), "it is kept");
    // It ends later than one that is taken now could: a clock has jumped.
    assert_eq!(take("b", SECOND_US).await, Some(2));
    assert_eq!(take("a", 2 * SECOND_US).await, None);
    // One that has ended is free.
    assert_eq!(take("b", -SECOND_US).await, Some(2));
    assert_eq!(take("a", SECOND_US).await, Some(3));
}

pub async fn outcomes_need_the_fence_and_the_place(factory: &impl Factory) {
    let store = factory.open().await;
    create(&store, "erp").await;
    let note = async |fence: i64, from: i64, outcome: Outcome| {
        store.note_outcome(fence, "erp", from, &outcome).await.unwrap()
    };
    assert!(!note(1, 0, Outcome::Progress(at(1))).await, "nobody has the lease");
    let old = store.take_lease("a", 0, -SECOND_US).await.unwrap().unwrap();
    assert!(note(old, 0, Outcome::Progress(at(1))).await);
    let new = store.take_lease("b", 0, SECOND_US).await.unwrap().unwrap();
    // The former holder wakes up and says that it has told the next one.
    assert!(!note(old, 1, Outcome::Progress(at(2))).await);
    assert!(!note(old, 1, Outcome::LaidAside(at(2), letter(2, false))).await);
    assert!(!note(new, 0, Outcome::Progress(at(1))).await, "it stands elsewhere");
    assert_eq!(all(&store).await[0].progress, at(1));
    assert_eq!(letters(&store, false).await, [] as [i64; 0]);
    let failed =
        WebhookProgress { told_sequence: 1, attempts: 4, next_us: 77, last_error: "timed out".to_owned() };
    assert!(note(new, 1, Outcome::Progress(failed.clone())).await);
    assert_eq!(all(&store).await[0].progress, failed);
    let before = store.last_sequence().await.unwrap();
    assert!(!note(old, 1, Outcome::Gone { progress: at(1), gone_us: 7 }).await);
    assert!(note(new, 1, Outcome::Gone { progress: at(1), gone_us: 7 }).await);
    assert!(all(&store).await[0].gone);
    let told = store.entries(before, 10, None).await.unwrap();
    assert_eq!(told.len(), 1, "{told:?}");
    assert_eq!((told[0].subject.as_str(), told[0].entry_us), ("webhooks/erp", 7));
    assert_eq!(told[0].after.as_deref(), Some(r#"{"state":"GONE"}"#));
    store.delete_webhook(&ctx("d"), "erp", text()).await.unwrap();
    assert!(!note(new, 1, Outcome::Progress(at(2))).await, "it is removed");
}

pub async fn letters_are_laid_aside_and_sent_again(factory: &impl Factory) {
    let store = factory.open().await;
    create(&store, "erp").await;
    let fence = store.take_lease("a", 0, SECOND_US).await.unwrap().unwrap();
    for sequence in 1..=3 {
        let outcome = Outcome::LaidAside(at(sequence), letter(sequence, false));
        assert!(store.note_outcome(fence, "erp", sequence - 1, &outcome).await.unwrap());
    }
    let stored = all(&store).await.remove(0);
    assert_eq!((stored.letters, stored.queued), (3, 0));
    let first = store.list_letters("erp", false, &page(2, None)).await.unwrap();
    assert_eq!(first.items[0], letter(1, false));
    let rest = store.list_letters("erp", false, &page(2, first.next.as_deref())).await.unwrap().items;
    assert_eq!(rest, [letter(3, false)]);
    let queue = async |id: &str, sequences: &[i64]| {
        let (answer, queued) = told();
        store.queue_letters(&ctx(id), "erp", sequences.to_vec(), answer).await.unwrap();
        queued()
    };
    assert_eq!(queue("q1", &[2, 9]).await, 1);
    assert_eq!(letters(&store, true).await, [2]);
    assert_eq!(queue("q2", &[]).await, 3);
    assert_eq!(letters(&store, true).await, [1, 2, 3]);
    let note = async |outcome: Outcome| store.note_outcome(fence, "erp", 3, &outcome).await.unwrap();
    assert!(note(Outcome::LetterTold { sequence: 1 }).await);
    assert!(!note(Outcome::LetterTold { sequence: 1 }).await);
    assert!(note(Outcome::LetterFailed(letter(2, false))).await);
    assert_eq!((letters(&store, false).await, letters(&store, true).await), (vec![2, 3], vec![3]));
    let missing = store.queue_letters(&ctx("q3"), "crm", vec![], text()).await;
    assert!(matches!(missing, Err(StoreError::NotFound { kind: Kind::Webhook, .. })), "{missing:?}");
}

pub async fn old_letters_are_dropped(factory: &impl Factory) {
    let store = factory.open().await;
    create(&store, "erp").await;
    let fence = store.take_lease("a", 0, SECOND_US).await.unwrap().unwrap();
    for sequence in 1..=6 {
        let failed = DeadLetter { failed_us: sequence * SECOND_US, ..letter(sequence, false) };
        let outcome = Outcome::LaidAside(at(sequence), failed);
        assert!(store.note_outcome(fence, "erp", sequence - 1, &outcome).await.unwrap());
    }
    store.queue_letters(&ctx("q"), "erp", vec![2], text()).await.unwrap();
    let old = |now_s: i64, newest_kept: u32, most: u32| Outdated {
        now_us: now_s * SECOND_US,
        kept_us: 10 * SECOND_US,
        newest_kept,
        most,
    };
    assert_eq!(store.drop_letters(fence, &old(11, 1, 9)).await.unwrap(), 0);
    assert_eq!(store.drop_letters(fence + 1, &old(14, 1, 9)).await.unwrap(), 0, "another one has the lease");
    // Of the first three one is to be sent again.
    assert_eq!(store.drop_letters(fence, &old(14, 1, 1)).await.unwrap(), 1);
    assert_eq!(letters(&store, false).await, [2, 3, 4, 5, 6]);
    assert_eq!(store.drop_letters(fence, &old(14, 1, 9)).await.unwrap(), 1);
    // However far a clock jumps ahead, the newest stay.
    assert_eq!(store.drop_letters(fence, &old(1_000_000, 2, 9)).await.unwrap(), 1);
    assert_eq!(letters(&store, false).await, [2, 5, 6]);
}
