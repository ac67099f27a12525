"""Linear algebra is held to one thread while works go on, however they overlap."""

from threading import Barrier, Thread

from threadpoolctl import threadpool_info, threadpool_limits

from motemap.blas import one_blas_thread


def n_threads() -> set[int]:
    return {
        library["num_threads"] for library in threadpool_info() if library["user_api"] == "blas"
    }


def test_what_was_before_comes_back() -> None:
    with threadpool_limits(limits=2, user_api="blas"):
        with one_blas_thread(), one_blas_thread():
            assert n_threads() == {1}
        assert n_threads() == {2}


def test_the_last_of_works_that_overlap_lifts_the_limit() -> None:
    begun, ended = Barrier(2, timeout=10), Barrier(2, timeout=10)

    def short() -> None:
        with one_blas_thread():
            begun.wait()
        ended.wait()

    with threadpool_limits(limits=2, user_api="blas"):
        other = Thread(target=short)
        with one_blas_thread():
            other.start()
            begun.wait()
            ended.wait()
            assert n_threads() == {1}
        other.join()
        assert n_threads() == {2}
