# The order of modules: each may use only those above it.
plb_module(core SOURCES error.c alloc.c buffer.c file.c hash.c random.c text.c unit.c unit_label.c LINK PkgConfig::NETTLE)
target_compile_definitions(plb_core PRIVATE PLB_SOURCE_DATA="${PROJECT_SOURCE_DIR}")

plb_module(signal USES core
  SOURCES fft.c correlate.c ncc.c peak.c resample.c crossing.c level.c spectrum.c statistic.c order.c distribution.c linear.c warp.c filter.c
  LINK PkgConfig::FFTWF)
# neither changes a result: no errno from sqrt, no floating-point traps, so that both vectorise
target_compile_options(plb_signal PRIVATE -fno-math-errno -fno-trapping-math)

plb_module(capture USES core signal
  SOURCES capture.c format.c number.c column.c text_cell.c text_encoding.c text_sample.c text_comma.c text_layout.c text_refuse.c text_header.c
    text_time.c text_preamble.c text_rate.c text_body.c text_reader.c text_writer.c wave_reader.c npy_reader.c assign.c conditioning.c
    comtrade_config.c comtrade_data.c comtrade_reader.c comtrade_writer.c wave_writer.c npy_writer.c npz_reader.c text_date.c text_edges.c
    step.c clipping.c fitness.c stream.c stream_frames.c stream_wave.c stream_text.c
  LINK PkgConfig::LIBZIP)

plb_module(model USES core signal capture
  SOURCES draw.c wiring.c meter.c matrix.c physics.c rotation.c cases.c families.c wheel.c inductive.c hall.c injector.c brush_motor.c serial.c pulses.c knock.c power.c stepper.c analog.c manifold.c three_wire.c air_mass.c boost.c valve_position.c charging.c track.c solenoid.c ignition.c oxygen.c cranking.c can.c coolant.c alternator.c)

plb_module(cycle USES core signal capture
  SOURCES spec.c tracks.c choice.c template.c draft.c lay.c swing.c teeth.c wheel.c wheel_turns.c wheel_stroke.c
    wheel_choose.c period.c chain.c steep.c repeat.c repeat_choose.c edge.c edge_choose.c span.c
    once.c against.c steady.c guess.c)

plb_module(reading USES core signal capture cycle
  SOURCES kinds.c level.c pulse.c serial.c transition.c trace.c coil.c row.c pair.c measure.c print.c wheel.c balance.c series.c series_print.c)

plb_module(reference USES core signal capture cycle reading
  SOURCES model.c base64.c predict.c minimax.c steps.c block_bytes.c block_pack.c block_unpack.c value.c block_grammar.c
    reference_grammar.c capture_grammar.c scan.c document.c node.c xml.c block_node.c identity.c schema.c write.c read.c
    capture_write.c capture_read.c capture_open.c
  LINK PkgConfig::LIBXML2 ZLIB::ZLIB)

plb_module(collection FOLDER collection/read USES core signal capture cycle reading reference
  SOURCES layout.c small_xml.c types.c status.c index_read.c index_write.c inspect.c plain.c where.c helper.c draft.c collection.c
    select.c history.c find.c evidence.c difference.c json.c
  LINK PkgConfig::LIBXML2 ZLIB::ZLIB)

if(PLB_STORE)
  plb_module(store FOLDER collection/store USES core signal capture cycle reading reference collection
    SOURCES store.c folder.c lock.c object.c author.c tree.c change.c change_pack.c act.c add.c renumber.c private_facts.c case.c import.c
      pack_writer.c pack.c index_refresh.c check.c arrival.c quarantine.c merge.c send.c
    LINK PkgConfig::LIBGIT2 PkgConfig::NETTLE PkgConfig::LIBXML2 ZLIB::ZLIB OpenMP::OpenMP_C)
endif()

plb_module(compare USES core signal capture cycle reading reference
  SOURCES plan.c profile.c frequency.c frequency_explain.c rules.c steps.c fit.c distance.c elastic.c corridor.c outcome.c mistake.c connect.c condition.c place.c pattern.c advice.c
    block.c bits.c moved.c pace.c doubt.c undo.c brief.c turn.c band_view.c band_result.c standard.c finding.c drawing.c sentence.c compare.c)

plb_module(learn USES core signal capture cycle reading reference compare
  SOURCES learn.c like.c frequency.c rules.c calibrate.c LINK OpenMP::OpenMP_C)

plb_module(peer USES core signal capture cycle reading reference compare learn
  SOURCES likes.c split.c peers.c pair.c locate.c)

plb_module(event USES core signal capture cycle reading reference compare learn
  SOURCES boxes.c residuals.c trains.c shape.c stuck.c lane.c usual.c windows.c cut.c search.c corridor.c print.c)
# sums of boxes vectorise; neither changes a result
target_compile_options(plb_event PRIVATE -fno-math-errno -fno-trapping-math)

plb_module(report USES core signal capture cycle reading reference compare learn event peer
  SOURCES take.c say.c say_verdict.c page.c table.c verdict_text.c json_value.c verdict_json.c canvas.c canvas_text.c axis.c panel.c spectrum.c
    verdict_svg.c series_svg.c facts.c capture_guess.c capture_guess_pair.c sketch.c inspect.c inspect_json.c learned_text.c connect_card.c connect_text.c connect_json.c connect_svg.c difference_svg.c again.c peer_text.c peer_json.c LINK PkgConfig::JANSSON)

set(PLB_MODULES core signal capture model cycle reading reference collection compare learn event peer report)
