"""What is installed brings what it needs: run against the built wheel, this looks inside the wheel."""

from spinfloor.replay.library import own_recordings


def test_the_rehearsal_recordings_come_with_the_package() -> None:
    folder = own_recordings()
    assert folder is not None
    assert (folder / "index.yaml").is_file()
    assert len(list(folder.glob("*.parquet"))) >= 8
