# What `cmake --install` lays down: headers, both libraries, the CMake package, the pkg-config file, and the data
# files the library looks for in share/plumbline. The command installs itself (cli/CMakeLists.txt).
include(CMakePackageConfigHelpers)
set(package_dir ${CMAKE_INSTALL_LIBDIR}/cmake/plumbline)

install(DIRECTORY include/plumbline TYPE INCLUDE FILES_MATCHING PATTERN "*.h")
install(DIRECTORY ${PROJECT_SOURCE_DIR}/schema DESTINATION ${CMAKE_INSTALL_DATADIR}/plumbline
  FILES_MATCHING PATTERN "*.xsd" PATTERN "*.json")
install(DIRECTORY ${PROJECT_SOURCE_DIR}/refs DESTINATION ${CMAKE_INSTALL_DATADIR}/plumbline
  FILES_MATCHING PATTERN "*.xml" PATTERN "demo" EXCLUDE)

# Two export sets, so that who links the shared library needs none of the development packages of what is inside.
foreach(kind shared static)
  install(TARGETS plumbline_${kind} EXPORT plumbline-${kind}
    LIBRARY DESTINATION ${CMAKE_INSTALL_LIBDIR} ARCHIVE DESTINATION ${CMAKE_INSTALL_LIBDIR})
  install(EXPORT plumbline-${kind} NAMESPACE plumbline:: FILE plumbline-${kind}.cmake DESTINATION ${package_dir})
endforeach()

configure_package_config_file(${CMAKE_CURRENT_LIST_DIR}/plumbline-config.cmake.in
  ${PROJECT_BINARY_DIR}/package/plumbline-config.cmake INSTALL_DESTINATION ${package_dir} NO_SET_AND_CHECK_MACRO)
write_basic_package_version_file(${PROJECT_BINARY_DIR}/package/plumbline-config-version.cmake
  COMPATIBILITY SameMinorVersion)
install(FILES ${PROJECT_BINARY_DIR}/package/plumbline-config.cmake
  ${PROJECT_BINARY_DIR}/package/plumbline-config-version.cmake DESTINATION ${package_dir})

# The prefix is told from where the .pc file lies, so that an installed tree can be moved.
file(RELATIVE_PATH up_to_prefix /prefix/${CMAKE_INSTALL_LIBDIR}/pkgconfig /prefix)
configure_file(${CMAKE_CURRENT_LIST_DIR}/plumbline.pc.in ${PROJECT_BINARY_DIR}/package/plumbline.pc @ONLY)
install(FILES ${PROJECT_BINARY_DIR}/package/plumbline.pc DESTINATION ${CMAKE_INSTALL_LIBDIR}/pkgconfig)
