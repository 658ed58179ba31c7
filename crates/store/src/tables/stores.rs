//! The storage traits, put together once for all engines with tables.

/// Implements [`StringStore`](crate::StringStore) and [`CutStore`](crate::CutStore) for the store of an engine with tables. The crate that calls it has
/// one module for each concern with the reads, and a macro `crate::write::run!` that runs a write of [`tables`](crate::tables) in a
/// transaction and may run it again where the engine asks for that.
#[allow(
    clippy::crate_in_macro_def,
    reason = "the modules with the reads are those of the crate that calls it"
)]
#[macro_export]
macro_rules! engine_with_tables {
    ($store:ty) => {
        #[async_trait::async_trait]
        impl $crate::StringStore for $store {
            async fn import_wires(
                &self,
                ctx: &$crate::WriteContext,
                wires: Vec<$crate::NewWire>,
                answer: $crate::Answer<$crate::Imported>,
            ) -> Result<$crate::Written, $crate::StoreError> {
                crate::write::run!(self, ctx, answer, |tables| $crate::tables::import_wires(tables, &wires))
            }

            async fn update_wire(
                &self,
                ctx: &$crate::WriteContext,
                expected_version: i64,
                wire: $crate::NewWire,
                answer: $crate::Answer<$crate::StoredWire>,
            ) -> Result<$crate::Written, $crate::StoreError> {
                crate::write::run!(self, ctx, answer, |tables| $crate::tables::update_wire(
                    tables,
                    expected_version,
                    &wire
                ))
            }

            async fn wire(&self, wire_id: &str) -> Result<$crate::StoredWire, $crate::StoreError> {
                crate::wires::one(self, wire_id).await
            }

            async fn wires(
                &self,
                wire_ids: &[String],
            ) -> Result<Vec<$crate::StoredWire>, $crate::StoreError> {
                crate::wires::some(self, wire_ids).await
            }

            async fn wires_generation(&self) -> Result<i64, $crate::StoreError> {
                crate::wires::generation(self).await
            }

            async fn list_wires(
                &self,
                material: Option<i32>,
                page: &$crate::PageRequest,
            ) -> Result<$crate::Page<$crate::StoredWire>, $crate::StoreError> {
                crate::wires::list(self, material, page).await
            }

            async fn create_scale(
                &self,
                ctx: &$crate::WriteContext,
                model_id: &str,
                revision_id: &str,
                document: $crate::Document,
                answer: $crate::Answer<$crate::StoredScale>,
            ) -> Result<$crate::Written, $crate::StoreError> {
                crate::write::run!(self, ctx, answer, |tables| $crate::tables::create_scale(
                    tables,
                    $crate::tables::ScaleKey { model_id, revision_id },
                    &document
                ))
            }

            async fn update_scale(
                &self,
                ctx: &$crate::WriteContext,
                model_id: &str,
                revision_id: &str,
                expected_version: i64,
                document: $crate::Document,
                answer: $crate::Answer<$crate::StoredScale>,
            ) -> Result<$crate::Written, $crate::StoreError> {
                let key = $crate::tables::ScaleKey { model_id, revision_id };
                crate::write::run!(self, ctx, answer, |tables| $crate::tables::update_scale(
                    tables,
                    key,
                    expected_version,
                    &document
                ))
            }

            async fn release_scale(
                &self,
                ctx: &$crate::WriteContext,
                model_id: &str,
                revision_id: &str,
                expected_version: i64,
                answer: $crate::Answer<$crate::StoredScale>,
            ) -> Result<$crate::Written, $crate::StoreError> {
                crate::write::run!(self, ctx, answer, |tables| $crate::tables::release_scale(
                    tables,
                    $crate::tables::ScaleKey { model_id, revision_id },
                    expected_version
                ))
            }

            async fn scale(
                &self,
                model_id: &str,
                revision_id: &str,
            ) -> Result<$crate::StoredScale, $crate::StoreError> {
                crate::scales::one(self, $crate::tables::ScaleKey { model_id, revision_id }).await
            }

            async fn scale_standing(
                &self,
                model_id: &str,
                revision_id: &str,
            ) -> Result<$crate::ScaleStanding, $crate::StoreError> {
                crate::scales::standing(self, $crate::tables::ScaleKey { model_id, revision_id }).await
            }

            async fn list_scales(
                &self,
                model_id: Option<&str>,
                page: &$crate::PageRequest,
            ) -> Result<$crate::Page<$crate::StoredScale>, $crate::StoreError> {
                crate::scales::list(self, model_id, page).await
            }

            async fn open_job(
                &self,
                ctx: &$crate::WriteContext,
                columns: $crate::JobColumns,
                document: $crate::Document,
                answer: $crate::Answer<$crate::StoredJob>,
            ) -> Result<$crate::Written, $crate::StoreError> {
                crate::write::run!(self, ctx, answer, |tables| $crate::tables::open_job(
                    tables, &columns, &document
                ))
            }

            async fn amend_job(
                &self,
                ctx: &$crate::WriteContext,
                expected_version: i64,
                columns: $crate::JobColumns,
                document: $crate::Document,
                answer: $crate::Answer<$crate::StoredJob>,
            ) -> Result<$crate::Written, $crate::StoreError> {
                crate::write::run!(self, ctx, answer, |tables| $crate::tables::amend_job(
                    tables,
                    expected_version,
                    &columns,
                    &document
                ))
            }

            async fn close_job(
                &self,
                ctx: &$crate::WriteContext,
                serial_id: &str,
                expected_version: i64,
                final_state: $crate::JobState,
                answer: $crate::Answer<$crate::StoredJob>,
            ) -> Result<$crate::Written, $crate::StoreError> {
                crate::write::run!(self, ctx, answer, |tables| $crate::tables::close_job(
                    tables,
                    serial_id,
                    expected_version,
                    final_state
                ))
            }

            async fn job(&self, serial_id: &str) -> Result<$crate::StoredJob, $crate::StoreError> {
                crate::jobs::one(self, serial_id).await
            }

            async fn set_standing(&self, serial_id: &str) -> Result<$crate::SetStanding, $crate::StoreError> {
                crate::jobs::standing(self, serial_id).await
            }

            async fn list_jobs(
                &self,
                filter: &$crate::JobFilter,
                page: &$crate::PageRequest,
            ) -> Result<$crate::Page<$crate::StoredJob>, $crate::StoreError> {
                crate::jobs::list(self, filter, page).await
            }

            async fn freeze_set(
                &self,
                ctx: &$crate::WriteContext,
                serial_id: &str,
                expected_version: i64,
                set: $crate::FrozenSet,
                answer: $crate::Answer<$crate::Frozen>,
            ) -> Result<$crate::Written, $crate::StoreError> {
                crate::write::run!(self, ctx, answer, |tables| $crate::tables::freeze_set(
                    tables,
                    serial_id,
                    expected_version,
                    &set
                ))
            }

            async fn frozen_set(
                &self,
                serial_id: &str,
            ) -> Result<Option<($crate::FrozenSet, $crate::Frozen)>, $crate::StoreError> {
                crate::jobs::set_of(self, serial_id).await
            }

            async fn release_winding_order(
                &self,
                ctx: &$crate::WriteContext,
                order: $crate::NewWindingOrder,
                answer: $crate::Answer<$crate::WindingRelease>,
            ) -> Result<$crate::Written, $crate::StoreError> {
                crate::write::run!(self, ctx, answer, |tables| $crate::tables::release_winding_order(
                    tables, &order
                ))
            }

            async fn winding_order(
                &self,
                order_id: &str,
                revision: Option<i64>,
            ) -> Result<$crate::StoredWindingOrder, $crate::StoreError> {
                crate::winding_orders::one(self, order_id, revision).await
            }

            async fn winding_order_of(
                &self,
                serial_ids: &[String],
            ) -> Result<Option<$crate::StoredWindingOrder>, $crate::StoreError> {
                crate::winding_orders::of_serials(self, serial_ids).await
            }

            async fn list_winding_orders(
                &self,
                serial_id: Option<&str>,
                page: &$crate::PageRequest,
            ) -> Result<$crate::Page<$crate::StoredWindingOrder>, $crate::StoreError> {
                crate::winding_orders::list(self, serial_id, page).await
            }
        }

        #[async_trait::async_trait]
        impl $crate::CutStore for $store {
            async fn receive_coils(
                &self,
                ctx: &$crate::WriteContext,
                coils: Vec<becket_floor::Coil>,
                answer: $crate::Answer<Vec<$crate::StoredCoil>>,
            ) -> Result<$crate::Written, $crate::StoreError> {
                crate::write::run!(self, ctx, answer, |tables| $crate::tables::receive_coils(tables, &coils))
            }

            async fn change_coil(
                &self,
                ctx: &$crate::WriteContext,
                change: $crate::CoilChange,
                answer: $crate::Answer<$crate::CoilChanged>,
            ) -> Result<$crate::Written, $crate::StoreError> {
                crate::write::run!(self, ctx, answer, |tables| $crate::tables::change_coil(tables, &change))
            }

            async fn lists_naming(
                &self,
                coil_id: &becket_floor::CoilId,
            ) -> Result<Vec<becket_floor::ListId>, $crate::StoreError> {
                crate::coils::lists_naming(self, coil_id).await
            }

            async fn coil(
                &self,
                coil_id: &becket_floor::CoilId,
            ) -> Result<$crate::StoredCoil, $crate::StoreError> {
                crate::coils::one(self, coil_id).await
            }

            async fn list_coil_evidence(
                &self,
                coil_id: &becket_floor::CoilId,
                page: &$crate::PageRequest,
            ) -> Result<$crate::Page<$crate::EvidenceRecord>, $crate::StoreError> {
                crate::evidence::list(self, coil_id, page).await
            }

            async fn coil_evidence(
                &self,
                coil_id: &becket_floor::CoilId,
                number: u32,
            ) -> Result<$crate::EvidenceRecord, $crate::StoreError> {
                crate::evidence::one(self, coil_id, number).await
            }

            async fn list_coils(
                &self,
                filter: &$crate::CoilFilter,
                page: &$crate::PageRequest,
            ) -> Result<$crate::Page<$crate::StoredCoil>, $crate::StoreError> {
                crate::coils::list(self, filter, page).await
            }

            async fn stock(
                &self,
                wire_ids: &[becket_floor::WireId],
                seen_from: Option<&becket_floor::ListId>,
            ) -> Result<Vec<becket_floor::FloorCoil>, $crate::StoreError> {
                crate::coils::stock(self, wire_ids, seen_from).await
            }

            async fn floor_coils(
                &self,
                coil_ids: &[becket_floor::CoilId],
                seen_from: Option<&becket_floor::ListId>,
            ) -> Result<Vec<becket_floor::FloorCoil>, $crate::StoreError> {
                crate::coils::floor_coils(self, coil_ids, seen_from).await
            }

            async fn set_stock_rule(
                &self,
                ctx: &$crate::WriteContext,
                rule: $crate::StockRule,
                answer: $crate::Answer<$crate::StockRule>,
            ) -> Result<$crate::Written, $crate::StoreError> {
                crate::write::run!(self, ctx, answer, |tables| $crate::tables::set_stock_rule(tables, &rule))
            }

            async fn list_stock_rules(
                &self,
                page: &$crate::PageRequest,
            ) -> Result<$crate::Page<$crate::StockRule>, $crate::StoreError> {
                crate::coils::list_rules(self, page).await
            }

            async fn save_station(
                &self,
                ctx: &$crate::WriteContext,
                station: becket_floor::Station,
                expected_version: Option<i64>,
                answer: $crate::Answer<$crate::StoredStation>,
            ) -> Result<$crate::Written, $crate::StoreError> {
                crate::write::run!(self, ctx, answer, |tables| $crate::tables::save_station(
                    tables,
                    &station,
                    expected_version
                ))
            }

            async fn station(
                &self,
                station_id: &becket_floor::StationId,
            ) -> Result<$crate::StoredStation, $crate::StoreError> {
                crate::stations::one(self, station_id).await
            }

            async fn unmount_coil(
                &self,
                ctx: &$crate::WriteContext,
                station_id: &becket_floor::StationId,
                reel_position: u32,
                answer: $crate::Answer<$crate::Unmounted>,
            ) -> Result<$crate::Written, $crate::StoreError> {
                crate::write::run!(self, ctx, answer, |tables| $crate::tables::unmount_coil(
                    tables,
                    station_id,
                    reel_position
                ))
            }

            async fn list_stations(
                &self,
                page: &$crate::PageRequest,
            ) -> Result<$crate::Page<$crate::StoredStation>, $crate::StoreError> {
                crate::stations::list(self, page).await
            }

            async fn create_cut_list(
                &self,
                ctx: &$crate::WriteContext,
                list: becket_floor::NewCutList,
                guards: Vec<becket_floor::CoilGuard>,
                answer: $crate::Answer<$crate::StoredCutList>,
            ) -> Result<$crate::Written, $crate::StoreError> {
                crate::write::run!(self, ctx, answer, |tables| $crate::tables::create_cut_list(
                    tables, &list, &guards
                ))
            }

            async fn cut_list(
                &self,
                list_id: &becket_floor::ListId,
            ) -> Result<$crate::StoredCutList, $crate::StoreError> {
                crate::cut_lists::one(self, list_id).await
            }

            async fn cut_list_on_floor(
                &self,
                list_id: &becket_floor::ListId,
                more: &[becket_floor::CoilId],
            ) -> Result<$crate::ListOnFloor, $crate::StoreError> {
                crate::on_floor::list(self, list_id, more).await
            }

            async fn workplace(
                &self,
                station_id: &becket_floor::StationId,
                list_id: &becket_floor::ListId,
                coil_ids: &[becket_floor::CoilId],
            ) -> Result<$crate::Workplace, $crate::StoreError> {
                crate::on_floor::workplace(self, station_id, list_id, coil_ids).await
            }

            async fn coils_wanted_elsewhere(
                &self,
                station_id: &becket_floor::StationId,
            ) -> Result<std::collections::BTreeSet<becket_floor::CoilId>, $crate::StoreError> {
                crate::on_floor::wanted_elsewhere(self, station_id).await
            }

            async fn list_cut_lists(
                &self,
                filter: &$crate::CutListFilter,
                page: &$crate::PageRequest,
            ) -> Result<$crate::Page<$crate::StoredHeader>, $crate::StoreError> {
                crate::cut_lists::list(self, filter, page).await
            }

            async fn commit_floor(
                &self,
                ctx: &$crate::WriteContext,
                change: becket_floor::FloorChange,
                answer: $crate::Answer<$crate::StoredHeader>,
            ) -> Result<$crate::Written, $crate::StoreError> {
                crate::write::run!(self, ctx, answer, |tables| $crate::tables::commit_floor(tables, &change))
            }

            async fn cuts_of_serials(
                &self,
                serial_ids: &[becket_floor::SerialId],
            ) -> Result<Vec<$crate::CutRecord>, $crate::StoreError> {
                crate::records::of_serials(self, serial_ids).await
            }

            async fn serials_of_lot(
                &self,
                lot_id: &becket_floor::LotId,
                page: &$crate::PageRequest,
            ) -> Result<$crate::Page<$crate::LotSerial>, $crate::StoreError> {
                crate::records::serials_of_lot(self, lot_id, page).await
            }

            async fn claimed_pieces(
                &self,
                serial_ids: &[becket_floor::SerialId],
            ) -> Result<Vec<$crate::Claim>, $crate::StoreError> {
                crate::records::claims(self, serial_ids).await
            }
        }
    };
}
