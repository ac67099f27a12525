from motemap import api


def test_what_is_promised_is_there() -> None:
    assert api.__all__ == sorted(api.__all__)
    assert len(api.__all__) == len(set(api.__all__))
    for name in api.__all__:
        assert getattr(api, name) is not None


def test_everything_public_says_what_it_is_for() -> None:
    for name in api.__all__:
        assert getattr(api, name).__doc__, name
