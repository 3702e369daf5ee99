@pytest.mark.parametrize("pressure", [33.0, 47.0])
def test_bands_of_a_map_are_those_that_a_search_finds(tag_window, pressure):
    """To a tenth of a metre a minute or two, which a picture does not show."""
    shown = window_map(tag_window, "laser-imaged", pressure, 80)
    found = bands_at(tag_window, tag_window.speed_bands([50.0]), "laser-imaged", pressure)
    for roll in tag_window.rolls:
        searched = found.loc[found["roll"] == roll.id, ["speed_low_m_min", "speed_high_m_min"]]
        spans = np.array(shown.spans(roll.cell_volume, tag_window.level)).reshape(-1, 2)
        np.testing.assert_allclose(spans, searched.to_numpy(float), atol=0.2)
    assert shown.spans(1.0, 0.9) == shown.spans(20.0, 0.9) == []
